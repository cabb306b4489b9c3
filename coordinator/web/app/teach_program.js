// A sequence as a program, beside it: written by hand, checked while one types, compared and restored.

import { html } from "htm/preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { Refusal } from "./api.js";
import { keepDraft } from "./draft.js";
import { Mistakes, selectLine } from "./mistakes.js";
import { Press } from "./press.js";
import { Versions } from "./versions.js";

const PAUSE_MS = 400; // after the last key, before the text is checked

/** The text of what is taught, until somebody writes in it. */
export function Program({ taught, sequence, gone, act }) {
  const [shown, setShown] = useState(""); // the program as it holds
  const [text, setText] = useState(null); // what somebody writes; null: nothing
  const [base, setBase] = useState(null); // the revision from which it is written
  const [errors, setErrors] = useState([]);
  const field = useRef(null);
  const revision = taught.now.revision;
  useEffect(() => {
    // Nobody asked for this: it says nothing of what was asked for, unless it fails.
    load().catch((error) => act(() => Promise.reject(error)));
  }, [revision]);
  const load = async () => setShown(await taught.program(sequence.id));
  useEffect(() => {
    if (text === null) return setErrors([]);
    const timer = setTimeout(async () => {
      try {
        setErrors(await taught.check(text));
      } catch (error) {
        if (!(error instanceof Refusal)) throw error; // it is checked again when it is written
      }
    }, PAUSE_MS);
    return () => clearTimeout(timer);
  }, [text]);
  const written = text ?? shown;
  const type = (next) => {
    if (text === null) setBase(revision);
    setText(next);
  };
  const write = async () => {
    const sent = text;
    if (await taught.write(sequence.id, sent, base ?? undefined)) setText((now) => (now === sent ? null : now));
    else setBase(null); // whoever has read why may write over it
  };
  const restore = (then) => {
    type(then);
    field.current.focus();
  };
  const take = async (event) => {
    const [file] = event.target.files;
    if (file) type(await file.text());
    event.target.value = "";
  };
  return html`
    <section class="card teach" aria-label="Program of the sequence">
      <h2>As a program</h2>
      <textarea rows="12" wrap="off" spellcheck=${false} ref=${field} aria-label="Program text" value=${written}
        onInput=${(event) => type(event.target.value)}></textarea>
      <div role="status">${errors.length > 0 && html`<ul class="problems">
        <${Mistakes} mistakes=${errors} select=${(line) => selectLine(field.current, line)} />
      </ul>`}</div>
      <div class="row">
        <${Press} name=${text === null ? "" : "main"} off=${gone || text === null || errors.length > 0}
          press=${write}>Write<//>
        <${Press} off=${text === null} press=${() => setText(null)}>Leave it as it was<//>
        <label>From a file <input type="file" accept=".nc,.ngc,.txt,text/plain" onChange=${take} /></label>
        <a class="button" download=${`${sequence.name.replace(/[^\w-]+/g, "_")}.nc`}
          href=${`data:text/plain;charset=utf-8,${encodeURIComponent(shown)}`}>To a file</a>
        <a class="button" href="#play"
          onClick=${() => keepDraft({ name: sequence.name, text: written, kept: sequence.id, changed: text !== null })}>Play it…</a>
      </div>
      ${text !== null && html`<p class="small">Not written yet. A waypoint is known by its name, the comment of its line: its
        angles change in every sequence that visits it.</p>`}
      <${Versions} changes=${(before, most) => taught.changes(sequence.id, before, most)} now=${shown} revision=${revision}
        text=${(change) => taught.program(sequence.id, change)} restore=${restore} gone=${gone} act=${act} />
    </section>`;
}
