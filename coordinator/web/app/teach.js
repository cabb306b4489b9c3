// Teach: move the arm by hand, record where it is, put the places in order, go back to them.

import { html } from "htm/preact";
import { useEffect, useState } from "preact/hooks";
import { closed } from "./api.js";
import { Poses } from "./goto.js";
import { JogBar, JogRow } from "./jog.js";
import { Press } from "./press.js";
import { Program } from "./teach_program.js";
import { Shift } from "./teach_shift.js";
import { Visits } from "./teach_visits.js";

/** The page of whoever teaches. */
export function Teach({ model, gone, taught, hand, going, act }) {
  useEffect(() => {
    taught.look(model.arm.taught_revision);
  }, [model.arm.taught_revision]);
  if (taught.now === null) return html`
    <section class="card" aria-label="Teach">
      <h2>Teach</h2>
      <p role="status">${taught.trouble ?? "Asking what was taught."}</p>
      ${taught.trouble && html`<p><button onClick=${taught.ask}>Ask again</button></p>`}
    </section>`;
  const sequence = taught.sequence();
  const busy = model.arm.run != null;
  return html`
    <section class="card teach" aria-label="Sequences">
      <h2>Teach</h2>
      ${taught.trouble && html`<p class="bad" role="status">What is shown may be old: ${taught.trouble}
        ${" "}<button onClick=${taught.ask}>Ask again</button></p>`}
      <${Choice} taught=${taught} sequence=${sequence} gone=${gone} />
      ${sequence && html`<${Recording} key=${sequence.id} taught=${taught} sequence=${sequence} gone=${gone} busy=${busy} />`}
      <${Steps} taught=${taught} gone=${gone} />
    </section>
    ${!busy && html`<section class="card teach" aria-label="Move the arm">
      <${JogBar} hand=${hand} joints=${model.arm.joints} on=${true} />
      <ul class="jogrows">${model.arm.joints.map((joint) => html`
        <li key=${joint.name}><span>${joint.name}</span> <${JogRow} hand=${hand} joint=${joint} gone=${gone} /></li>`)}</ul>
    </section>`}
    ${!busy && html`<${Poses} model=${model} gone=${gone} going=${going} />`}
    ${sequence && html`
      <${Visits} key=${`v${sequence.id}`} model=${model} gone=${gone || busy} taught=${taught} sequence=${sequence} going=${going} />
      <${Program} key=${`p${sequence.id}`} taught=${taught} sequence=${sequence} gone=${gone} act=${act} />`}
    ${taught.now.waypoints.length + taught.now.programs.length > 0 && html`<${Shift} model=${model} taught=${taught} gone=${gone} act=${act} />`}`;
}

// Which sequence, and sequences that come, go and get other names.
function Choice({ taught, sequence, gone }) {
  const [name, setName] = useState("");
  const [sure, setSure] = useState(false);
  useEffect(() => setSure(false), [sequence?.id]);
  const known = new Set(taught.now.sequences.map((one) => one.id));
  const add = async (like) => {
    if (!await taught.edit({ type: "add-sequence", name, like })) return;
    setName("");
    const added = taught.now.sequences.find((one) => !known.has(one.id));
    if (added) taught.choose(added.id);
  };
  const off = gone || !name.trim();
  return html`
    <div class="row">
      <label>Sequence <select value=${sequence?.id ?? ""} onChange=${(event) => taught.choose(Number(event.target.value))}>
        ${taught.now.sequences.length === 0 && html`<option value="">none yet</option>`}
        ${taught.now.sequences.map((one) => html`<option key=${one.id} value=${one.id}>${one.name}</option>`)}
      </select></label>
      <label>New name <input type="text" maxlength="60" value=${name} onInput=${(event) => setName(event.target.value)} /></label>
      <${Press} off=${off} press=${() => add(null)}>Add<//>
      ${sequence && html`
        <${Press} off=${off} press=${() => add(sequence.id)}>Copy as<//>
        <${Press} off=${off} press=${async () =>
          await taught.edit({ type: "rename-sequence", sequence: sequence.id, name }) && setName("")}>Rename<//>
        ${sure ? html`
          <${Press} name="grave" off=${gone} press=${() => taught.edit({ type: "delete-sequence", sequence: sequence.id })}>
            Delete ${sequence.name}<//>
          <button class="plain" onClick=${() => setSure(false)}>Keep it</button>`
          : html`<${Press} off=${gone} press=${() => setSure(true)}>Delete…<//>`}`}
    </div>`;
}

function Recording({ taught, sequence, gone, busy }) {
  const [name, setName] = useState("");
  const record = async () => await taught.record(name) && setName("");
  return html`
    <div class="row">
      <${Press} name="main record" off=${gone || busy} press=${record}>Record here<//>
      <label>as <input type="text" maxlength="60" placeholder="a name is found" value=${name}
        onInput=${(event) => setName(event.target.value)} /></label>
      <label><input type="checkbox" checked=${taught.loud} onChange=${(event) => { taught.loud = event.target.checked; }} /> with a sound</label>
    </div>
    ${busy && html`<p class="small">A program is there: what it does cannot be recorded.</p>`}`;
}

function Steps({ taught, gone }) {
  const { undo, redo } = taught.now;
  return html`
    <div class="row">
      <${Press} off=${gone || undo === null} press=${taught.undo}>Undo<//>
      <span class="small">${undo === null ? "nothing to undo" : closed(undo)}</span>
      <${Press} off=${gone || redo === null} press=${taught.redo}>Redo<//>
      <span class="small">${redo === null ? "nothing to redo" : closed(redo)}</span>
    </div>`;
}
