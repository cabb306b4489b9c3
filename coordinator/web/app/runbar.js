// What plays, how far it is and how fast; home and play while nothing does.

import { html } from "htm/preact";
import { useEffect, useState } from "preact/hooks";
import { closed, post, sentence } from "./api.js";
import { clockTime, figure, listed, micros } from "./figures.js";
import { Press } from "./press.js";
import { loopWords, Production } from "./production.js";
import { isFresh } from "./state.js";

/** How far the arm is with what it does; what that is stands in the band. */
export function RunBar({ arm, gone, nowUs, act, homes }) {
  return html`<section class="runbar" aria-label="The run">
    ${arm.run ? html`<${Running} run=${arm.run} told=${arm.condition?.cause} act=${act} />`
      : html`<${Resting} arm=${arm} gone=${gone} nowUs=${nowUs} act=${act} homes=${homes} />`}
  </section>`;
}

function Running({ run, told, act }) {
  const ofPart = run.end_us && run.path_us != null ? Math.min(1, run.path_us / run.end_us) : null;
  // All parts count alike: how long those take that follow is not known yet.
  const done = ofPart === null || run.parts === null ? null : (run.part - 1 + ofPart) / run.parts;
  const rests = run.phase === "held" || run.phase === "paused";
  return html`
    ${told !== run.name && html`<p class="what">${run.name}</p>`}
    <p class="line">${run.line ? `line ${run.line}${run.lines ? ` of ${run.lines}` : ""}` : "line –"}${
      loopWords(run)}${
      run.parts > 1 ? `, part ${run.part} of ${run.parts}` : ""}</p>
    <svg class="progress" height="8" role="img"
      aria-label="${done === null ? "progress not known" : `${Math.round(done * 100)} % of ${run.parts > 1 ? "the parts" : "the path"}`}">
      <rect class="trough" width="100%" height="8" />
      ${done !== null && html`<rect class="filled" width="${(done * 100).toFixed(2)}%" height="8" />`}
    </svg>
    <${Production} run=${run} />
    <p class="left">${run.left_us == null ? "– left" : `${clockTime(run.left_us / 1e6)} left${partLeft(run)}`}</p>
    <${Speed} percent=${run.rate_percent} rests=${rests} act=${act} />`;
}

// Of what that is left, where more follows.
function partLeft({ part, parts }) {
  if (parts === null) return " of this part; more may follow";
  if (parts === part) return parts > 1 ? " of the last part" : "";
  return ` of this part; ${parts - part} more follow${parts - part > 1 ? "" : "s"}`;
}

// The speed as asked for, until the coordinator says what it is.
function Speed({ percent, rests, act }) {
  const [asked, setAsked] = useState(null);
  useEffect(() => setAsked(null), [percent]);
  const shown = asked ?? Math.round(rests && !percent ? 100 : percent);
  const send = (event) => {
    const wanted = Number(event.target.value);
    setAsked(wanted);
    act(() => post("/override", { percent: wanted })).then((taken) => taken || setAsked(null));
  };
  return html`
    <label class="speed"><span>speed <output>${figure(shown, 0, "%")}</output></span>
      <input type="range" min="5" max="100" step="5" value=${shown} aria-label="speed"
        aria-valuetext="${shown} per cent of the program's"
        onInput=${(event) => setAsked(Number(event.target.value))} onChange=${send} />
    </label>`;
}

// Whether a start would be together if it were asked for now.
function startNow(start) {
  if (!start) return "";
  if (start.obstacle) return html`No start now: ${closed(start.obstacle.message)}`;
  if (start.start_delay_us == null) return "A start now: links and clocks are still being measured.";
  return html`A start now: ${micros(start.start_delay_us)} ahead, all within ${micros(start.within_us)} of
    each other; slowest link: ${start.slowest}.`;
}

function Resting({ arm, gone, nowUs, act, homes }) {
  const homing = arm.phase === "homing" ? arm.homing : null;
  const unhomed = arm.joints.filter((joint) => !joint.homed).length;
  const done = homing ? Object.keys(homing.joints).length : 0;
  // What a joint that is not known to rest said before is no news to calm anybody by.
  const unstopped = arm.condition?.unconfirmed ?? [];
  const away = arm.joints.filter((joint) => !isFresh(joint, nowUs)).map((joint) => joint.name);
  const line = unstopped.length ? `stop not confirmed by ${listed(unstopped)}`
    : homing ? `${done} of ${homing.asked.length} homed`
    : away.length ? `${listed(away)} not heard`
    : unhomed === 0 ? "all joints are homed"
      : `${unhomed === arm.joints.length ? "no joint is homed" : `${unhomed} of ${arm.joints.length} joints not homed`}`;
  const busy = homing !== null || gone;
  return html`
    <p class="line">${line}</p>
    <p class="start">${startNow(arm.start_forecast)}</p>
    ${arm.homing?.state === "failed" && html`<p class="why">${sentence(arm.homing.message)}</p>`}
    <p class="caution">The arm moves at once. Keep hands, hair and sleeves out of its reach: joints
      pinch.</p>
    ${homes.oneByOne ? !homes.blind && html`
      <button class="plain" aria-expanded=${homes.open} onClick=${homes.toggle}>Home joints…</button>`
      : html`<${Press} name=${unhomed ? "main" : ""} off=${busy} press=${() => act(() => post("/home", { joints: [] }))}>Home all joints<//>`}
    <a class="button ${unhomed ? "" : "main"}" href="#play">Play…</a>`;
}
