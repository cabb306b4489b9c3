// Who has not confirmed a stop, said until it has: what is silent may still move.

import { html } from "htm/preact";

const PATIENCE_MS = 2000; // a stop takes a few exchanges; on a bad link some of them are lost

/** Since when each joint is seen not to have confirmed a stop, by local time `ms`. */
export function unconfirmed(before, joints, ms) {
  const wanting = joints.filter((joint) => joint.stop_wanted);
  return new Map(wanting.map((joint) => [joint.name, before.get(joint.name) ?? ms]));
}

/** In words, if there is one. `since` comes from `unconfirmed`. */
export function Unstopped({ since, ms }) {
  const names = [...since].filter(([, began]) => ms - began > PATIENCE_MS).map(([name]) => name);
  return names.length > 0 && html`<p class="bad"><strong>${listed(names)}${" "}
    ${names.length > 1 ? "have" : "has"} not confirmed the stop and may still move.</strong>${" "}
    Use the emergency stop that cuts the power.</p>`;
}

const listed = (names) =>
  names.length < 2 ? names.join("") : `${names.slice(0, -1).join(", ")} and ${names.at(-1)}`;
