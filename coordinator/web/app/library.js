// Sequences and programs that are kept: searched, with what became of each, taken to be played.

import { html } from "htm/preact";
import { useEffect, useState } from "preact/hooks";
import { Refusal } from "./api.js";
import { dateTime } from "./report.js";

/** `take(one)` is called for what somebody chooses: `{kind, id, name}` and its own members. */
export function Library({ taught, model, chosen, take }) {
  const [wanted, setWanted] = useState("");
  const [results, setResults] = useState(null); // null: not known
  const run = model.arm.run;
  useEffect(() => {
    if (taught.now === null) return undefined;
    let over = false;
    look(taught).then((found) => over || setResults(found));
    return () => {
      over = true;
    };
  }, [taught.now?.revision, run?.number, run?.phase]);
  if (taught.now === null) return html`<p role="status">${taught.trouble ?? "Asking what is kept."}</p>`;
  const all = [
    ...taught.now.sequences.map((one) => ({ kind: "sequence", ...one })),
    ...taught.now.programs.map((one) => ({ kind: "program", ...one })),
  ].sort((one, other) => one.name.localeCompare(other.name));
  const found = all.filter((one) => one.name.toLowerCase().includes(wanted.trim().toLowerCase()));
  if (all.length === 0) return html`
    <p class="small">Nothing is kept yet: keep a program below, or record a sequence on <a href="#teach">Teach</a>.</p>`;
  return html`
    <div class="row"><label>Search <input type="search" value=${wanted}
      onInput=${(event) => setWanted(event.target.value)} /></label>
      <span class="small" role="status">${wanted.trim() ? `${found.length} of ${all.length}` : `${all.length} kept`}</span></div>
    <ul class="runs">${found.map((one) => html`
      <li key=${one.id}>
        <button class="plain" aria-pressed=${chosen === one.id} onClick=${() => take(one)}>${one.name}</button>
        <span class="small">${one.kind}</span> <span>${results && became(results.get(one.id))}</span>
      </li>`)}</ul>`;
}

// Nobody asked: where it fails the list stands without.
async function look(taught) {
  try {
    return new Map((await taught.results()).map((one) => [one.taught, one]));
  } catch (error) {
    if (!(error instanceof Refusal)) throw error;
    return null;
  }
}

function became(result) {
  if (!result) return "never played";
  return html`<a href="#records">${result.outcome}</a> <span class="small">${dateTime(result.ended_utc ?? result.began_utc)}${
    result.same_text ? "" : ", with another text than now"}</span>`;
}
