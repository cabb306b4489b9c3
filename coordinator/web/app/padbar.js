// Which joint each stick of a gamepad turns, and whether it may.

import { html } from "htm/preact";
import { STICKS } from "./pad.js";

/** Above the lanes, while a gamepad is there. */
export function PadBar({ pad, names }) {
  if (pad.is === "none") return html`<p class="small">Gamepad: press one of its buttons, and it is found.</p>`;
  if (pad.is === "refused") return html`<p class="small">${pad.refusal()}</p>`;
  const stick = (k) => html`
    <label><span>${STICKS[k]}</span>
      <select value=${pad.sticks?.[k] ?? ""} onChange=${(event) => pad.choose(k, event.target.value || null)}>
        <option value="">no joint</option>
        ${names.map((name) => html`<option key=${name} value=${name}>${name}</option>`)}
      </select></label>`;
  return html`
    <p role="group" aria-label="Gamepad" class="padbar"><span>gamepad</span>
      ${stick(0)} ${stick(1)}
      <button class="plain" onClick=${() => pad.pair(-1)}>pair before</button>
      <button class="plain" onClick=${() => pad.pair(1)}>next pair</button>
      <strong class="enabling ${pad.enabled ? "on" : ""}">${state(pad)}</strong></p>
    <p class="small">Sticks turn joints left and right, and only while an upper front button is held: to let
      it go stops them. Left cluster: ◀ ▶ other pair, ▲ ▼ speed. Lowest of the right cluster: record, on Teach. The button is no safety-rated enabling
      device, and a pad by radio that goes out of reach lets go only once the computer knows.</p>`;
}

function state(pad) {
  if (!pad.enabled) return "let go: nothing moves";
  return pad.waits ? "let the stick go to its middle first" : "the sticks move the arm";
}
