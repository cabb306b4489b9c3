// Play: choose a program, see what it would do or what is wrong with it, then play it.

import { html } from "htm/preact";
import { useState } from "preact/hooks";
import { file, post, sentence } from "./api.js";
import { clockTime, figure } from "./figures.js";
import { Rehearse } from "./rehearse.js";

const EXAMPLE = "prick_out_tray.nc";

/** A program's way from a file to the arm. */
export function Play({ model, gone, act }) {
  const [program, setProgram] = useState({ name: "", text: "" });
  const [found, setFound] = useState(null);
  const [busy, setBusy] = useState(false);
  const busyArm = model.arm.phase !== "idle";
  const unhomed = model.arm.joints.filter((joint) => !joint.homed).map((joint) => joint.name);

  const take = (name, text) => {
    setProgram({ name, text });
    setFound(null);
  };
  const fromFile = async (event) => {
    const [file] = event.target.files;
    if (file) take(file.name, await file.text());
  };
  const example = () => act(async () => {
    take(EXAMPLE, await file(`/examples/${EXAMPLE}`));
  });
  const during = async (work) => {
    setBusy(true);
    await act(work);
    setBusy(false);
  };
  const check = () => during(async () => setFound(await post("/check", { text: program.text })));
  const play = () => during(async () => {
    await post("/runs", { name: program.name || "program", text: program.text });
    location.hash = "#watch";
  });
  return html`
    <section class="card play" aria-label="A program">
      <h2>Play a program</h2>
      <p class="row">
        <label>A file <input type="file" accept=".nc,.ngc,.txt,text/plain" onChange=${fromFile} /></label>
        <button class="plain" onClick=${example}>Load the example</button>
      </p>
      <label class="block">Name
        <input type="text" maxlength="255" value=${program.name}
          onInput=${(event) => setProgram({ ...program, name: event.target.value })} /></label>
      <label class="block">Program
        <textarea rows="14" spellcheck=${false} value=${program.text}
          onInput=${(event) => take(program.name, event.target.value)}></textarea></label>
      <p class="row"><button class=${found?.ok ? "" : "main"} disabled=${!program.text.trim() || busy || gone}
        onClick=${check}>Check</button>
        <span class="small">Nothing moves by a check.</span></p>
      <div role="status">${found && html`<${Found} found=${found} />`}</div>
      ${found?.ok && html`
        <p class="caution">The arm begins to move at once and may move at any time while the program
          plays. Keep hands, hair and sleeves out of its reach.</p>
        ${unhomed.length > 0 && html`<p>Not homed: ${unhomed.join(", ")}. Home them first, on${" "}
          <a href="#watch">Watch</a>.</p>`}
        ${busyArm && html`<p>The arm is ${model.arm.phase}: play must wait for it.</p>`}
        <p class="row"><button class="main" disabled=${busy || gone || busyArm || unhomed.length > 0}
          onClick=${play}>Play</button></p>`}
    </section>
    <${Rehearse} program=${program} gone=${gone} act=${act} />`;
}

function Found({ found }) {
  const about = (one) => `Line ${one.line}, column ${one.column}: ${sentence(one.message)}`;
  return html`
    <h3>${found.ok
      ? `No mistakes: ${found.moves.length} moves, ${clockTime(found.duration_s)} at full speed from ${
        found.begins === "here" ? "where the arm stands" : "the pose park"}`
      : `${found.errors.length} mistake${found.errors.length > 1 ? "s" : ""}; it cannot be played`}</h3>
    <ul class="problems">
      ${found.errors.map((one, k) => html`<li key="e${k}" class="danger">${about(one)}</li>`)}
      ${found.slower.map((one, k) => html`<li key="s${k}">Line ${one.line}: slower than asked,
        ${" "}${figure(one.duration_s, 2, "s")} instead of ${figure(one.asked_s, 2, "s")}, since ${one.joint} would need
        ${" "}${figure(one.asked_deg_s, 1, "°/s")} and its limit is ${figure(one.velocity_deg_s, 0, "°/s")}.</li>`)}
      ${found.remarks.map((one, k) => html`<li key="r${k}">${about(one)}</li>`)}
    </ul>`;
}
