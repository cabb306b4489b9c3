// The arm file in a field: its mistakes by line while it is typed, what it changes, and one step that writes it.

import { html } from "htm/preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { ask, get, post, Refusal } from "./api.js";
import { Mistakes, selectLine } from "./mistakes.js";
import { Press } from "./press.js";

const PAUSE_MS = 400; // after the last key, before the text is looked at

// What is typed outlives another view of the page: { file, text }; null where nobody has opened it.
let kept = null;

/** Opened, it is a field; nothing is written but by its last button. */
export function ArmFile({ arm, gone, act }) {
  const [file, setFile] = useState(kept?.file ?? null); // as it was read
  const [text, setText] = useState(kept?.text ?? "");
  const [found, setFound] = useState(null); // { of, mistakes, … }: what was found of which text
  const [sure, setSure] = useState(false);
  const field = useRef(null);
  kept = file === null ? null : { file, text };
  const isChanged = file !== null && text !== file.text;
  useEffect(() => {
    setSure(false);
    if (!isChanged) return setFound(null);
    const timer = setTimeout(() => look(text), PAUSE_MS);
    return () => clearTimeout(timer);
  }, [text, file]);
  const look = async (of) => {
    try {
      setFound({ of, ...await post("/arm/file/check", { text: of }) });
    } catch (error) {
      if (!(error instanceof Refusal)) throw error; // it is looked at again when it is written
    }
  };
  const take = (now) => {
    setFile(now);
    setText(now.text.replaceAll("\r\n", "\n"));
  };
  const read = () => act(async () => take(await get("/arm/file/now")));
  const write = async () => {
    setSure(false);
    const sent = text;
    const done = await act(
      async () => setFile(await ask("PUT", "/arm/file", { text: sent, instead_of: file.sha256 })),
      "The arm file is written. The coordinator takes it at its next start.");
    if (done) setText(sent);
  };
  const isKnown = found !== null && found.of === text;
  const mistakes = isChanged && found ? found.mistakes : [];
  const why = obstacle(arm, file, isChanged, isKnown, mistakes);
  return html`
    <section class="card teach" aria-label="Arm file">
      <h2>Arm file</h2>
      <p class="caution">A wrong gear, direction or range lets a joint turn further than you think, or the other way. Measure, do not guess;
        after a change, bring the joint up again before you play a program. A figure within its limits is not yet yours.</p>
      ${file === null ? html`<p class="row"><${Press} off=${gone} press=${read}>Open the arm file<//></p>` : html`
        <p class="small">${file.file}${file.in_use ? ", by which this coordinator runs." : ""}</p>
        ${!file.in_use && html`<p class="bad">This coordinator runs by another text, with which it began: start it anew for this one.</p>`}
        ${file.kept_because && html`<p class="bad">It cannot be written from here: ${file.kept_because}.</p>`}
        <textarea rows="18" wrap="off" spellcheck=${false} ref=${field} aria-label="Text of the arm file" value=${text}
          onInput=${(event) => setText(event.target.value)}></textarea>
        <div role="status">
          ${mistakes.length > 0 && html`<ul class="problems">
            <${Mistakes} mistakes=${mistakes} select=${(line) => selectLine(field.current, line)} /></ul>`}
          ${isChanged && found?.more_mistakes > 0 && html`<p class="small">And ${found.more_mistakes} more.</p>`}
          ${isChanged && isKnown && found.remarks.map((one) => html`<p class="small" key=${one}>Remark: ${one}</p>`)}
        </div>
        <div class="row">
          <${Press} off=${gone || why !== "" || sure} press=${() => setSure(true)}>Show what changes…<//>
          <${Press} name="plain" off=${gone} press=${read}>${isChanged ? "Read it anew, and drop what was typed" : "Read it anew"}<//>
          ${why && html`<span class="small">${why}</span>`}
        </div>
        ${sure && why === "" && html`<${Changes} rows=${found.changes} file=${file.file} gone=${gone} write=${write}
          leave=${() => setSure(false)} />`}`}
    </section>`;
}

function Changes({ rows, file, gone, write, leave }) {
  return html`
    <h3>What would be changed</h3>
    ${rows.length === 0 ? html`<p class="small">Only how lines end, or the end of the text.</p>` : html`
      <ol class="listing changed" tabindex="0" aria-label="Lines that go and come">${rows.map((row) => html`
        <li key=${`${row.added}${row.line}`} class=${row.added ? "comes" : "goes"}>
          <code>${row.added ? "+" : "−"} ${row.line}: ${row.text || " "}</code>
          <span class="unseen">${row.added ? " comes" : " goes"}</span></li>`)}</ol>`}
    <div class="row">
      <${Press} name="grave" off=${gone} press=${write}>Write this into ${file.split("/").at(-1)}<//>
      <button class="plain" onClick=${leave}>Not yet</button>
    </div>`;
}

// Why it cannot be written now, a sentence; empty where only the coordinator can tell.
function obstacle(arm, file, isChanged, isKnown, mistakes) {
  if (file === null) return "";
  if (file.kept_because) return "It stays as it is.";
  if (!isChanged) return "Nothing is changed.";
  if (!isKnown) return "Looking at it.";
  if (mistakes.length > 0) return "It has mistakes: press one to be led to its line.";
  return arm.busy ? "Something moves, or will: it is written only while nothing does." : "";
}
