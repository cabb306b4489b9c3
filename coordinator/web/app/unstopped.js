// Who has not confirmed a stop, said until it has: what is silent may still move.

import { html } from "htm/preact";
import { ageS } from "./state.js";

const RESTS_AFTER_S = 5; // by then a joint that hears nothing has come to rest by its own rules
const PATIENCE_MS = 2000; // a stop takes a few exchanges; on a bad link some of them are lost

/** Since when each joint is seen not to have confirmed a stop, by local time `ms`. */
export function unconfirmed(before, joints, ms) {
  const wanting = joints.filter((joint) => joint.stop_wanted);
  return new Map(wanting.map((joint) => [joint.name, before.get(joint.name) ?? ms]));
}

/** In words, if there is one. `since` comes from `unconfirmed`, `joints` are those of now. */
export function Unstopped({ since, joints, nowUs, ms }) {
  const late = joints.filter((joint) => ms - (since.get(joint.name) ?? ms) > PATIENCE_MS);
  const silentS = (joint) => ageS(joint, nowUs) ?? Infinity;
  const names = (wanted) => late.filter(wanted).map((joint) => joint.name);
  const moving = names((joint) => silentS(joint) <= RESTS_AFTER_S);
  const unknown = names((joint) => silentS(joint) > RESTS_AFTER_S && joint.heard_at_us != null);
  return html`
    ${moving.length > 0 && html`<p class="bad"><strong>${listed(moving)}${" "}
      ${moving.length > 1 ? "have" : "has"} not confirmed the stop and may still move.</strong>${" "}
      Use the emergency stop that cuts the power.</p>`}
    ${unknown.length > 0 && html`<p>The stop did not reach ${listed(unknown)}, not heard since. What
      is not heard comes to rest by itself; whether it has is not known. Cut the power before you
      reach in.</p>`}`;
}

const listed = (names) =>
  names.length < 2 ? names.join("") : `${names.slice(0, -1).join(", ")} and ${names.at(-1)}`;
