// Waypoints and programs shifted joint by joint, after a joint was swapped or its home corrected.

import { html } from "htm/preact";
import { useState } from "preact/hooks";
import { figure } from "./figures.js";
import { Press } from "./press.js";

/** First it is shown what would become of each waypoint and program. */
export function Shift({ model, taught, gone, act }) {
  const [open, setOpen] = useState(false);
  const [joint, setJoint] = useState(model.arm.joints[0].name);
  const [by, setBy] = useState("");
  const [why, setWhy] = useState("");
  const [left, setLeft] = useState(new Set()); // programs that are left out
  const [shown, setShown] = useState(null); // { shift, revision, waypoints, programs } of the preview
  const shift = { type: "shift", offsets_deg: { [joint]: Number(by) }, why };
  const off = gone || !Number(by) || !why.trim();
  const look = () => act(async () =>
    setShown({ shift, revision: taught.now.revision, ...await taught.preview(shift) }));
  const fits = shown && shown.revision === taught.now.revision && JSON.stringify(shown.shift) === JSON.stringify(shift);
  const out = [...shown?.waypoints.flatMap((one) => one.out_of_range) ?? [], ...shown?.programs.filter((one) => !left.has(one.program.id)).flatMap((one) => one.obstacles) ?? []];
  const apply = async () => {
    const ids = (of) => of.map((one) => one.id);
    const some = left.size === 0 ? {} : {
      waypoints: ids(taught.now.waypoints),
      programs: ids(taught.now.programs).filter((id) => !left.has(id)),
    };
    if (await taught.edit({ ...shift, ...some }, "Shifted. Undo takes it back.")) setShown(null);
  };
  const leave = (id) => {
    const next = new Set(left);
    if (!next.delete(id)) next.add(id);
    setLeft(next);
  };
  return html`
    <section class="card teach" aria-label="Correct all that is kept">
      <h2><button class="name" aria-expanded=${open} onClick=${() => setOpen(!open)}>Correct all waypoints and programs…</button></h2>
      ${open && html`
        <p>Where a joint was swapped, its magnet moved or its home corrected, all its angles shift by the same.</p>
        <div class="row">
          <label>Joint <select value=${joint} onChange=${(event) => setJoint(event.target.value)}>
            ${model.arm.joints.map((one) => html`<option key=${one.name} value=${one.name}>${one.name}</option>`)}
          </select></label>
          <label>by, degrees <input type="number" step="any" min="-360" max="360" value=${by} onInput=${(event) => setBy(event.target.value)} /></label>
          <label>because <input type="text" maxlength="200" value=${why} onInput=${(event) => setWhy(event.target.value)} /></label>
          <${Press} off=${off} press=${look}>Show<//>
          <${Press} name=${fits ? "main" : ""} off=${off || !fits || out.length > 0} press=${apply}>Shift<//>
        </div>
        ${shown && html`
          <div role="status">${out.map((told, k) => html`<p key=${k} class="bad">${told}</p>`)}</div>
          <div class="scroll" tabindex="0" role="region" aria-label="Before and after"><table>
            <thead><tr><th>waypoint</th><th>${Object.keys(shown.shift.offsets_deg)[0]} before</th><th>after</th></tr></thead>
            <tbody>${shown.waypoints.map((one) => html`
              <tr key=${one.before.id}><th>${one.before.name}</th>
                <td>${figure(one.before.angles_deg[Object.keys(shown.shift.offsets_deg)[0]], 2, "°")}</td>
                <td>${figure(one.after.angles_deg[Object.keys(shown.shift.offsets_deg)[0]], 2, "°")}</td></tr>`)}</tbody>
          </table></div>
          ${shown.programs.map((one) => html`<h3 key=${`h${one.program.id}`}>${one.program.name}: ${one.changed} line${one.changed === 1 ? "" : "s"}</h3>
            <p key=${`l${one.program.id}`}><label><input type="checkbox" checked=${!left.has(one.program.id)}
              onChange=${() => leave(one.program.id)} /> shift ${one.program.name} too</label></p>
            <div key=${one.program.id} class="scroll" tabindex="0" role="region" aria-label=${`${one.program.name} before and after`}><table class="compared">
              <tbody>${one.lines.map((line) => html`<tr key=${line.line}><th>${line.line}</th><td><code>${line.before}</code></td><td><code>${line.after}</code></td></tr>`)}</tbody>
            </table></div>
            ${one.changed > one.lines.length && html`<p class="small">The first ${one.lines.length} of them are shown.</p>`}`)}`}`}
    </section>`;
}
