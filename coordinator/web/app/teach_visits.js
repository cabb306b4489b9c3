// The visits of a sequence: in order, moved by drag or by keys, each with its ways.

import { html } from "htm/preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { figure } from "./figures.js";
import { GoTo } from "./goto.js";
import { isKey } from "./keys.js";
import { Press } from "./press.js";
import { waypointOf } from "./taught.js";

/** The list; `gone`: nothing can be commanded now. */
export function Visits({ model, gone, taught, sequence, going }) {
  const [open, setOpen] = useState(null); // index of the visit that is looked at
  const [drag, setDrag] = useState(null); // { from, to } while one is dragged
  const list = useRef(null);
  const now = taught.now;
  const spare = now.waypoints.filter((one) => !sequence.visits.some((visit) => visit.waypoint === one.id));
  const move = (at, to) => {
    if (to === at || to < 0 || to >= sequence.visits.length) return;
    if (open === at) setOpen(to);
    taught.edit({ type: "move", sequence: sequence.id, at, to });
  };
  const handle = (at) => gone ? {} : {
    onPointerDown: (event) => {
      if (event.button !== 0) return;
      event.preventDefault();
      event.currentTarget.setPointerCapture(event.pointerId);
      setDrag({ from: at, to: at });
    },
    onPointerMove: (event) => drag && setDrag({ ...drag, to: placeAt(list.current, event.clientY) }),
    onPointerUp: () => {
      if (drag) move(drag.from, drag.to);
      setDrag(null);
    },
    onPointerCancel: () => setDrag(null),
  };
  return html`
    <section class="card teach" aria-label="Visits">
      <h2>${sequence.name}</h2>
      ${sequence.visits.length === 0 && html`<p>Nothing is recorded in it yet. Move the arm to a place, then press <em>Record here</em>.</p>`}
      <ol class="visits" ref=${list}>
        ${sequence.visits.map((visit, at) => html`
          <li key=${at} class=${drag?.to === at ? "here" : ""}>
            <button class="handle" aria-label=${`Place ${at + 1}: drag, or press arrow keys to move it`} ...${handle(at)}
              onKeyDown=${(event) => {
                const by = isKey("earlier", event) ? -1 : isKey("later", event) ? 1 : 0;
                if (!by || gone) return;
                event.preventDefault();
                move(at, at + by);
                list.current.querySelectorAll(".handle")[at + by]?.focus();
              }}>≡ ${at + 1}</button>
            <button class="plain" aria-expanded=${open === at} onClick=${() => setOpen(open === at ? null : at)}>
              ${waypointOf(now, visit).name}</button>
            <span class="small">${ways(visit)}</span>
            <${GoTo} going=${going} place=${{ waypoint: visit.waypoint }} name=${waypointOf(now, visit).name} off=${gone} />
            ${open === at && html`<${Visit} key=${visit.waypoint} model=${model} gone=${gone} taught=${taught}
              sequence=${sequence} at=${at} close=${() => setOpen(null)} move=${move} />`}
          </li>`)}
      </ol>
      ${spare.length > 0 && html`<${Others} taught=${taught} sequence=${sequence} spare=${spare} gone=${gone} />`}
    </section>`;
}

// Which place in the list is at this height.
function placeAt(list, y) {
  const items = [...list.children];
  const at = items.findIndex((one) => y < one.getBoundingClientRect().bottom);
  return at < 0 ? items.length - 1 : at;
}

function ways(visit) {
  return [
    visit.speed_percent < 100 && `at ${figure(visit.speed_percent, 0, "%")}`,
    visit.passing && "passing",
    visit.outputs.length > 0 && visit.outputs.join(" "),
    visit.dwell_s > 0 && `waits ${figure(visit.dwell_s, 1, "s")}`,
  ].filter(Boolean).join(", ");
}

function Visit({ model, gone, taught, sequence, at, close, move }) {
  const visit = sequence.visits[at];
  const waypoint = waypointOf(taught.now, visit);
  const [name, setName] = useState(waypoint.name);
  useEffect(() => setName(waypoint.name), [waypoint.name]);
  const users = taught.now.sequences.filter((one) => one.visits.some((other) => other.waypoint === waypoint.id));
  const set = (members) => taught.edit({ type: "set-visit", sequence: sequence.id, at, ...members });
  const rename = () => name.trim() !== waypoint.name
    && taught.edit({ type: "rename-waypoint", waypoint: waypoint.id, name });
  const one = (type) => () => taught.edit({ type, sequence: sequence.id, at });
  return html`
    <div class="visit" role="group" aria-label=${`Place ${at + 1}`}>
      <p class="small">${model.arm.joints.map((joint) =>
        `${joint.name} ${figure(waypoint.angles_deg[joint.name], 2, "°")}`).join(" · ")}</p>
      ${users.length > 1 && html`<p class="small">In ${users.length} sequences: a new name or place counts in all of them.</p>`}
      <div class="row">
        <label>Name <input type="text" maxlength="60" value=${name} onInput=${(event) => setName(event.target.value)}
          onChange=${rename} /></label>
        <${Figure} label="Speed, % of the limits" value=${visit.speed_percent} most=${100} take=${(speed_percent) => set({ speed_percent })} />
        <${Figure} label="Wait, s" value=${visit.dwell_s} most=${3600} take=${(dwell_s) => set({ dwell_s })} />
        <label><input type="checkbox" checked=${visit.passing} onChange=${(event) => set({ passing: event.target.checked })} />
          may be passed through</label>
      </div>
      <div class="row">
        <${Press} off=${gone} press=${() => taught.edit({ type: "overwrite", waypoint: waypoint.id }, `${waypoint.name} is where the arm stands now.`)}>Overwrite with here<//>
        <${Press} off=${gone} press=${one("duplicate")}>Duplicate<//>
        <${Press} off=${gone || at === 0} press=${() => move(at, at - 1)}>Earlier<//>
        <${Press} off=${gone || at === sequence.visits.length - 1} press=${() => move(at, at + 1)}>Later<//>
        <${Press} name="grave" off=${gone} press=${() => { close(); one("remove")(); }}>Delete<//>
      </div>
    </div>`;
}

// A number that is taken once it is written: what is typed stays while the page is drawn anew.
function Figure({ label, value, most, take }) {
  const [text, setText] = useState(String(value));
  useEffect(() => setText(String(value)), [value]);
  const done = () => {
    if (text.trim() === "" || Number(text) === value) setText(String(value));
    else take(Number(text));
  };
  return html`<label>${label} <input type="number" min="0" max=${most} step="any" value=${text}
    onInput=${(event) => setText(event.target.value)} onChange=${done} /></label>`;
}

// Waypoints that other sequences visit.
function Others({ taught, sequence, spare, gone }) {
  const [chosen, choose] = useState(null);
  const waypoint = chosen ?? spare[0].id;
  return html`
    <div class="row">
      <label>A waypoint of another sequence <select value=${waypoint} onChange=${(event) => choose(Number(event.target.value))}>
        ${spare.map((one) => html`<option key=${one.id} value=${one.id}>${one.name}</option>`)}
      </select></label>
      <${Press} off=${gone} press=${() => taught.edit({ type: "insert", sequence: sequence.id, waypoint })}>Visit it last<//>
    </div>`;
}
