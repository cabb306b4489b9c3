// What is wrong, with what to do, and what happened, newest first.

import { html } from "htm/preact";
import { useState } from "preact/hooks";
import { closed, post, sentence } from "./api.js";
import { timeOfDay } from "./figures.js";
import { Shape } from "./signs.js";

const SHOWN = 30;

/** Warnings that nobody has seen yet, in short, for where people look first. */
export function Unseen({ arm }) {
  const unseen = (arm.warnings ?? []).filter((one) => !one.acknowledged);
  return unseen.length > 0 && html`
    <ul class="unseen-warnings">${unseen.map((one) => html`
      <li key=${one.id} class=${one.level}><${Shape} name="attention" /> ${closed(one.message)}</li>`)}</ul>`;
}

/** Warnings that stand, then notes: one for each thing that happened, its parts when asked. */
export function Journal({ arm, nowUs, act }) {
  const warnings = arm.warnings ?? [];
  const [all, setAll] = useState(false);
  const notes = arm.notes.filter((note) => all || !note.detail).slice(-SHOWN).reverse();
  return html`
    <section class="card journal" aria-label="What happened">
      <div role="status"><ul>${warnings.map((one) => html`
        <li key=${one.id} class=${one.level}>
          <time>${timeOfDay(one.since_us, nowUs)}</time>
          <p><${Shape} name="attention" /> <strong>${closed(one.message)}</strong> ${sentence(one.advice ?? "")}
          ${one.acknowledged ? html` <span class="small">acknowledged</span>`
            : html` <button class="plain" onClick=${() => act(() => post(`/warnings/${one.id}/acknowledge`))}>Acknowledge</button>`}
          ${one.code === "home-wandered" && html` <button class="plain"
            onClick=${() => act(() => post(`/joints/${encodeURIComponent(one.joint)}/home/accept`))}>Accept the home of ${one.joint}</button>`}</p>
        </li>`)}</ul></div>
      ${(arm.unknown ?? []).map((one) => html`<p key=${one.instance}>${one.instance} at ${one.host}${" "}
        has the id ${one.id}, which is not in the arm file.</p>`)}
      <ul>${notes.map((note) => html`
        <li key=${`${note.at_us} ${note.code} ${note.joint} ${note.message}`} class=${note.level}>
          <time>${timeOfDay(note.at_us, nowUs)}</time>
          <p>${note.level !== "info" && html`<${Shape} name="attention" /> `}${closed(note.message)}</p>
        </li>`)}</ul>
      <button class="plain" aria-pressed=${all} onClick=${() => setAll(!all)}>With details</button>
      ${!notes.length && !warnings.length && html`<p>Nothing yet.</p>`}
    </section>`;
}
