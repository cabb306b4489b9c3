// The control that is held to go to a place, and what it would turn.

import { html } from "htm/preact";
import { useEffect } from "preact/hooks";
import { figure, NONE } from "./figures.js";
import { isKey } from "./keys.js";

/** Held, the arm goes to `place`, as a wish names it; let go, it stops. `told`: its name is seen too. */
export const GoTo = ({ going, place, name, told = false, off }) => html`
  <${HoldTo} going=${going} place=${place} off=${off}>Hold to go <span class=${told ? "" : "unseen"}>to ${name}</span><//>`;

/** Held, what `place` wishes for is done, and no longer. */
export function HoldTo({ going, place, off, children }) {
  // A row that goes takes its button from under the finger, and no event tells of that.
  useEffect(() => going.letGo, []);
  const [start, end] = [() => off || going.press(place), () => going.letGo()];
  return html`
    <button class="goto ${going.to(place) ? "held" : ""}" aria-disabled=${off}
      onPointerDown=${(event) => {
        if (event.button !== 0) return;
        event.currentTarget.setPointerCapture(event.pointerId);
        start();
      }}
      onPointerUp=${end} onPointerCancel=${end} onLostPointerCapture=${end} onBlur=${end}
      onContextMenu=${(event) => event.preventDefault()}
      onKeyDown=${(event) => {
        if (!isKey("goTo", event)) return;
        event.preventDefault();
        if (!event.repeat) start();
      }}
      onKeyUp=${(event) => isKey("goTo", event) && end()}>${children}</button>`;
}

/** From where each joint goes to where, in a line; `angles_deg` by joint. */
export function Way({ joints, angles_deg }) {
  return html`<p class="small">${joints.map((joint) => angles_deg[joint.name] === undefined ? `${joint.name} stays`
    : `${joint.name} ${joint.position_deg == null ? NONE : figure(joint.position_deg, 1, "°")} → ${
      figure(angles_deg[joint.name], 1, "°")}`).join(" · ")}</p>`;
}

/** The arm file's named poses, each with its way. */
export function Poses({ model, gone, going }) {
  return html`
    <section class="card teach" aria-label="Poses of the arm file">
      <h2>Poses of the arm file</h2>
      <p class="small">Each joint goes its own way: look first what stands between.</p>
      <ul class="poses">${Object.entries(model.arm.poses ?? {}).map(([pose, angles_deg]) => html`
        <li key=${pose}>${pose} <${GoTo} going=${going} place=${{ pose }} name=${pose} off=${gone} />
          <${Way} joints=${model.arm.joints} angles_deg=${angles_deg} /></li>`)}</ul>
    </section>`;
}
