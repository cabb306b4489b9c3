// What is wrong, with what to do, and what happened, newest first.

import { html } from "htm/preact";
import { useState } from "preact/hooks";
import { Alarms, alarmsOf } from "./alarms.js";
import { closed } from "./api.js";
import { timeOfDay } from "./figures.js";
import { Signals } from "./signals.js";
import { Shape } from "./signs.js";

const SHOWN = 30;

/** Alarms, then notes: one for each thing that happened, its parts when asked. */
export function Journal({ arm, nowUs, act, signals }) {
  const { returned, shelved } = alarmsOf(arm);
  const quiet = [arm.warnings ?? [], returned, shelved].every((found) => found.length === 0);
  const [all, setAll] = useState(false);
  const notes = arm.notes.filter((note) => all || !note.detail).slice(-SHOWN).reverse();
  return html`
    <section class="card journal" aria-label="What happened">
      <${Alarms} arm=${arm} nowUs=${nowUs} act=${act} />
      <${Signals} signals=${signals} />
      ${(arm.unknown ?? []).map((one) => html`<p key=${one.instance}>${one.instance} at ${one.host}${" "}
        has the id ${one.id}, which is not in the arm file.</p>`)}
      <ul>${notes.map((note) => html`
        <li key=${`${note.at_us} ${note.code} ${note.joint} ${note.message}`} class=${note.level}>
          <time>${timeOfDay(note.at_us, nowUs)}</time>
          <p>${note.level !== "info" && html`<${Shape} name="attention" /> `}${closed(note.message)}</p>
        </li>`)}</ul>
      <button class="plain" aria-pressed=${all} onClick=${() => setAll(!all)}>With details</button>
      ${quiet && !notes.length && html`<p>Nothing yet.</p>`}
    </section>`;
}
