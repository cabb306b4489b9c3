// Play: choose a program, see what it would do or what is wrong with it, then play it.

import { html } from "htm/preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { file, post, postLong, Refusal } from "./api.js";
import { Curves } from "./curves.js";
import { draft, keepDraft } from "./draft.js";
import { clockTime, figure } from "./figures.js";
import { Keeping } from "./keeping.js";
import { Library } from "./library.js";
import { Listing } from "./listing.js";
import { about, Mistakes, selectLine } from "./mistakes.js";
import { asked, Often, ONCE, wrong } from "./often.js";
import { Press } from "./press.js";
import { Queue } from "./queue.js";
import { Rehearse } from "./rehearse.js";
import { Switches, switches } from "./switches.js";

const EXAMPLE = "prick_out_tray.nc";

/** A program's way from a file or from what is kept to the arm. */
export function Play({ model, gone, taught, act }) {
  const [, redraw] = useState(0);
  const [found, setFound] = useState(null); // { text, on, told, curves } of the newest check
  const field = useRef(null);
  const opened = useRef(0);
  const program = draft();
  useEffect(() => {
    taught.look(model.arm.taught_revision);
  }, [model.arm.taught_revision]);

  const take = (next) => {
    keepDraft(next);
    redraw((count) => count + 1);
  };
  // Of what stands there now, whatever stood there when it was asked for.
  const change = (some) => take({ ...draft(), ...some });
  const open = (one) => act(async () => {
    const asked = ++opened.current;
    const text = await (one.kind === "sequence" ? taught.program(one.id) : taught.text(one.id));
    if (asked === opened.current) take({ name: one.name, text, kept: one.id, sha256: one.sha256 ?? null });
  });
  const select = (line) => selectLine(field.current, line);
  const fromFile = async (event) => {
    const [file] = event.target.files;
    if (file) take({ name: file.name, text: await file.text() });
  };
  const example = () => act(async () => {
    take({ name: EXAMPLE, text: await file(`/examples/${EXAMPLE}`) });
  });
  const keptProgram = taught.now?.programs.find((one) => one.id === program.kept) ?? null;
  const chosen = keptProgram ?? taught.now?.sequences.find((one) => one.id === program.kept) ?? null;
  const other = program.changed || (keptProgram !== null && keptProgram.sha256 !== program.sha256);
  return html`
    ${model.arm.run && html`<${Listing} run=${model.arm.run} />`}
    <section class="card library" aria-label="What is kept">
      <h2>Kept</h2>
      <${Library} taught=${taught} model=${model} chosen=${program.kept} take=${open} />
    </section>
    <${Queue} model=${model} chosen=${chosen} other=${other} gone=${gone} act=${act} />
    <section class="card play" aria-label="A program">
      <h2>Play a program</h2>
      <p class="row">
        <label>A file <input type="file" accept=".nc,.ngc,.txt,text/plain" onChange=${fromFile} /></label>
        <button class="plain" onClick=${example}>Load the example</button>
      </p>
      <label class="block">Name
        <input type="text" maxlength="255" value=${program.name}
          onInput=${(event) => change({ name: event.target.value })} /></label>
      <label class="block">Program
        <textarea rows="14" wrap="off" spellcheck=${false} ref=${field} value=${program.text}
          onInput=${(event) => change({ text: event.target.value, changed: true })}></textarea></label>
      <${Keeping} taught=${taught} program=${program} kept=${keptProgram} change=${change} gone=${gone} act=${act} />
      <${Switches} changed=${() => redraw((count) => count + 1)} />
      <${Checked} key=${program.kept} model=${model} program=${program} taught=${taught}
        found=${found?.text === program.text && found.on === switches() ? found : null} setFound=${setFound} select=${select} gone=${gone} act=${act} />
    </section>
    <${Rehearse} program=${program} select=${select} gone=${gone} act=${act} />`;
}

// From its check to the arm.
function Checked({ model, program, taught, found, setFound, select, gone, act }) {
  const [busy, setBusy] = useState(false);
  const [far, setFar] = useState(null); // how far what goes on is; null while nobody has said
  const [cancelled, setCancelled] = useState(""); // what was, words
  const cancelling = useRef(null); // what ends what goes on
  const looking = useRef(null); // what ends the picture being made
  const first = useRef(null);
  const [often, setOften] = useState(ONCE);
  const told = found?.told;
  const busyArm = model.arm.phase !== "idle";
  const unhomed = model.arm.joints.filter((joint) => !joint.homed).map((joint) => joint.name);
  useEffect(() => () => {
    cancelling.current?.abort();
    looking.current?.abort();
  }, []);
  const during = async (what, work) => {
    looking.current?.abort(); // a picture must not delay what somebody waits for
    const controller = cancelling.current = new AbortController();
    setFar(null);
    setCancelled("");
    setBusy(what);
    await act(async () => {
      try {
        await work(controller.signal);
      } catch (error) {
        if (error.code !== "cancelled") throw error;
        setCancelled(`Cancelled: the program was not ${what === "check" ? "checked to its end" : "played"}.`);
        // Whoever cancels in the moment in which it begins wants it held.
        if (what === "play") await post("/hold").catch(() => {});
      }
    });
    cancelling.current = null;
    setBusy(false);
  };
  const cancel = () => {
    cancelling.current?.abort();
    first.current.querySelector("button").focus();
  };
  const check = () => during("check", async (signal) => {
    const [{ text }, on] = [program, switches()];
    const told = await postLong("/check", { text, ...on }, setFar, signal);
    setFound({ text, on, told, curves: null });
    if (told.ok && told.duration_s > 0) picture(text, on, told);
  });
  const picture = async (text, on, told) => {
    const controller = looking.current = new AbortController();
    const curves = await pictured({ text, ...on }, controller.signal);
    if (curves) setFound((now) => (now?.told === told ? { text, on, told, curves } : now));
  };
  const play = () => during("play", async (signal) => {
    const { name, text, kept, changed } = program;
    const isKept = [...taught.now?.sequences ?? [], ...taught.now?.programs ?? []].some((one) => one.id === kept);
    const of = isKept && !changed ? kept : null;
    const body = { name: name || "program", text, taught: of, ...asked(often), ...found.on };
    await postLong("/runs", body, setFar, signal);
    location.hash = "#watch";
  });
  return html`
    <p class="row" ref=${first}><${Press} name=${told?.ok ? "" : "main"} off=${!program.text.trim() || busy || gone}
      press=${check}>Check<//>
      <span class="small">Nothing moves by a check.</span></p>
    ${busy && far && html`<p class="row">
      <progress max=${far.of || null} value=${far.of ? far.done : null} aria-label="How far the program is"></progress>
      <span>${STAGES[far.stage] ?? far.stage}${far.of ? `: ${far.done} of ${far.of}` : ""}</span>
      <button class="plain" onClick=${cancel}>Cancel</button></p>`}
    <div role="status">${cancelled && html`<p>${cancelled}</p>`}${told && html`<${Found} found=${told} select=${select} />`}</div>
    ${found?.curves && html`<${Curves} curves=${found.curves} />`}
    ${told?.ok && html`
      <p class="caution">The arm begins to move at once and may move at any time while the program
        plays. Keep hands, hair and sleeves out of its reach.</p>
      ${unhomed.length > 0 && html`<p>Not homed: ${unhomed.join(", ")}. Home them first, on${" "}
        <a href="#watch">Watch</a>.</p>`}
      ${busyArm && html`<p>The arm is ${model.arm.phase}: play must wait for it.</p>`}
      <${Often} often=${often} change=${(some) => setOften((now) => ({ ...now, ...some }))}
        lasts=${lasts(often, told)} />
      <p class="row"><${Press} name="main" off=${busy || gone || busyArm || unhomed.length > 0 || Boolean(wrong(often))}
        press=${play}>Play<//></p>`}`;
}

// The checks of home edges are told apart: they may take longer than the loops.
function lasts({ loops, edges }, { duration_s: each, edges_s: check }) {
  const told = `about ${clockTime(loops * each)} without pauses`;
  if (!edges) return told;
  return check == null ? `${told}, and what the edges take`
    : `${told}, and ${clockTime((loops - 1) * check)} to check home edges, ${clockTime(check)} each time`;
}

const STAGES = {
  waiting: "Waiting for another program",
  reading: "Reading lines",
  ranges: "Holding moves against the joints' ranges",
  parts: "Dividing moves into parts",
  ends: "Following moves to their ends",
  planning: "Planning moves",
};

// A picture that cannot be had keeps nobody from playing what was checked.
async function pictured(asked, signal) {
  try {
    return await postLong("/check/curves", asked, () => {}, signal);
  } catch (error) {
    if (!(error instanceof Refusal)) throw error;
    return null;
  }
}

// Why a corner is passed slower than asked.
const WHY = {
  tolerance: () => "faster it would leave the tolerance",
  acceleration: (one) => `${one.joint} has no more acceleration for so short a turn`,
  way: () => "the moves beside it are too short to get faster and to brake in",
};
// More would make the page slow, and nobody reads them.
const MOST_CORNERS = 100;

const cornersTold = (count) => `${count === 1 ? "One corner is" : `${count} corners are`} passed slower than asked${
  count > MOST_CORNERS ? `; the first ${MOST_CORNERS}` : ""}`;

const OVERTRAVEL = {
  stops: (one) => `Overtravel at ${one.stops === 1 ? "one stop" : `${one.stops} stops`} by ${one.joints.join(", ")}: ${
    figure(one.duration_s, 1, "s")} of that time.`,
  passed: (one) => `No overtravel at ${one.passed === 1 ? "one end that is" : `${one.passed} ends that are`
    } passed: reversal error stays there.`,
};

function Found({ found, select }) {
  return html`
    <h3>${found.ok
      ? `No mistakes: ${found.moves.length} moves, ${clockTime(found.duration_s)} at full speed from ${
        found.begins === "here" ? "where the arm stands" : "the pose park"}`
      : `${found.errors.length} mistake${found.errors.length > 1 ? "s" : ""}; it cannot be played`}</h3>
    ${found.pauses > 0 && html`<p>It pauses ${found.pauses === 1 ? "once" : `${found.pauses} times`} until somebody
      resumes; that is not in the time.</p>`}
    ${found.moves[0]?.approach && html`<p>First the arm goes slowly to where line ${found.moves[0].line} begins:${" "}
      ${Object.entries(found.moves[0].target).map(([letter, angle]) => `${letter} ${figure(angle, 2, "°")}`).join(", ")}.
      There it waits for Resume.</p>`}
    <ul class="problems">
      <${Mistakes} mistakes=${found.errors} select=${select} />
      ${found.slower.map((one, k) => html`<li key="s${k}">Line ${one.line}: slower than asked,
        ${" "}${figure(one.duration_s, 2, "s")} instead of ${figure(one.asked_s, 2, "s")}, since ${one.joint} would need
        ${" "}${figure(one.asked_deg_s, 1, "°/s")} and its limit is ${figure(one.velocity_deg_s, 0, "°/s")}.</li>`)}
      ${["stops", "passed"].map((which) => found.overtravel?.[which]
        ? html`<li key=${which}>${OVERTRAVEL[which](found.overtravel)}</li>` : null)}
      ${found.corners.length > 0 && html`<li><details><summary>${cornersTold(found.corners.length)}</summary>
        <ul>${found.corners.slice(0, MOST_CORNERS).map((one, k) => html`<li key="c${k}">Line ${one.line}: its end is
          ${" "}${one.passed_deg_s ? `passed at ${figure(one.passed_deg_s, 1, "°/s")}` : "a stop"}, asked were
          ${" "}${figure(one.asked_deg_s, 1, "°/s")}; ${WHY[one.limit](one)}.</li>`)}</ul></details></li>`}
      ${found.seam && html`<li>${found.seam.obstacle
        ? `Played again from where it ends it cannot be: ${found.seam.obstacle}.`
        : `Another loop begins with line ${found.seam.line} from where it ends: ${Object.entries(found.seam.turns_deg)
          .map(([joint, angle]) => `${joint} by ${figure(angle, 2, "°")}`).join(", ")}, ${figure(found.seam.duration_s, 1, "s")}.`}</li>`}
      ${found.remarks.map((one, k) => html`<li key="r${k}">${about(one)}</li>`)}
    </ul>`;
}
