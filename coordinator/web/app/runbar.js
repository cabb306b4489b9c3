// What plays and how far it is; hold, resume, speed; home and play while nothing moves.

import { html } from "htm/preact";
import { useEffect, useState } from "preact/hooks";
import { closed, deliver, post, sentence } from "./api.js";
import { clockTime, figure, micros } from "./figures.js";

const UNHELD = "The hold was not delivered.";
const PHASES = {
  loading: "Loading", preparing: "Preparing", starting: "Starting", moving: "Playing",
  holding: "Holding", held: "Held", paused: "Paused in", discarding: "Ending",
};

/** One line of what the arm does as a whole. */
export function RunBar({ arm, gone, act }) {
  return html`<section class="runbar" aria-label="The run">
    ${arm.run ? html`<${Running} run=${arm.run} gone=${gone} act=${act} />`
      : html`<${Resting} arm=${arm} act=${act} />`}
  </section>`;
}

function Running({ run, gone, act }) {
  const done = run.end_us && run.path_us != null ? Math.min(1, run.path_us / run.end_us) : null;
  const rests = run.phase === "held" || run.phase === "paused";
  return html`
    <p class="what" role="status">${PHASES[run.phase] ?? run.phase} ${run.name}</p>
    <p class="line">${run.line ? `line ${run.line}${run.lines ? ` of ${run.lines}` : ""}` : "line –"}${
      run.parts > 1 ? `, part ${run.part} of ${run.parts}` : ""}</p>
    <svg class="progress" height="8" role="img"
      aria-label="${done === null ? "progress not known" : `${Math.round(done * 100)} % of the path`}">
      <rect class="trough" width="100%" height="8" />
      ${done !== null && html`<rect class="filled" width="${(done * 100).toFixed(2)}%" height="8" />`}
    </svg>
    <p class="left">${run.left_us == null ? "– left" : `${clockTime(run.left_us / 1e6)} left`}</p>
    <${Speed} percent=${run.rate_percent} rests=${rests} act=${act} />
    ${rests
      ? html`<button class="main" disabled=${gone} onClick=${() => act(() => post("/resume"))}>Resume</button>`
      : html`<button class="main" disabled=${run.phase === "holding" && !gone}
          onClick=${() => act(() => deliver("/hold", undefined, UNHELD))}>Hold</button>`}
    ${rests && html`<p class="why">${run.message ? `${sentence(run.message)} ` : ""}Resume${" "}
      ${behind(run)}goes on along the path, and the arm moves at once: keep out of its reach. Stop ends the run.</p>`}`;
}

// Who would have to catch up first.
function behind(run) {
  const late = Object.entries(run.behind_us ?? {}).filter(([, us]) => us > 0);
  if (late.length === 0) return "";
  const each = late.map(([name, us]) => `${name} by ${figure(us / 1000, 0, "ms")}`).join(", ");
  return `first brings up slowly what is behind (${each}), then `;
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
  if (start.lead_us == null) return "A start now: links and clocks are still being measured.";
  return html`A start now: ${micros(start.lead_us)} ahead, all within ${micros(start.within_us)} of
    each other; slowest link: ${start.slowest}.`;
}

function Resting({ arm, act }) {
  const homing = arm.phase === "homing" ? arm.homing : null;
  const unhomed = arm.joints.filter((joint) => !joint.homed).length;
  const away = arm.joints.filter((joint) => joint.link !== "up").map((joint) => joint.name);
  const done = homing ? Object.keys(homing.joints).length : 0;
  const what = homing ? `Homing ${homing.current}` : arm.phase === "jogging" ? "Jogging"
    : away.length > 0 ? "Not whole" : "At rest";
  const line = homing ? `${done} of ${homing.asked.length} done`
    : away.length > 0 ? `not there: ${away.join(", ")}`
    : unhomed === 0 ? "all joints are homed"
      : `${unhomed === arm.joints.length ? "no joint is homed" : `${unhomed} of ${arm.joints.length} joints not homed`}`;
  return html`
    <p class="what" role="status">${what}</p>
    <p class="line">${line}</p>
    <p class="start">${startNow(arm.next_start)}</p>
    ${arm.homing?.state === "failed" && html`<p class="why">${sentence(arm.homing.message)}</p>`}
    <p class="caution">The arm moves at once. Keep hands, hair and sleeves out of its reach: joints
      pinch.</p>
    <button class=${unhomed ? "main" : ""} disabled=${Boolean(homing)}
      onClick=${() => act(() => post("/home", { joints: [] }))}>Home all</button>
    <a class="button ${unhomed ? "" : "main"}" href="#play">Play…</a>`;
}
