// Watch: the run, a lane for each joint, the common axis, and what happened.

import { html } from "htm/preact";
import { useState } from "preact/hooks";
import { micros } from "./figures.js";
import { jointSign } from "./signs.js";
import { Homing, isBlind, oneByOne } from "./homing.js";
import { isFresh } from "./state.js";
import { JogBar, NoJog } from "./jog.js";
import { Unseen } from "./alarms.js";
import { Journal } from "./journal.js";
import { Lane } from "./lane.js";
import { Report } from "./report.js";
import { queuePlace } from "./queue.js";
import { RunBar } from "./runbar.js";
import { FUTURE_S, PAST_S, place } from "./strip.js";
import { WayBack } from "./wayback.js";

/** The page for whoever stands next to the arm. */
export function Watch({ model, late, nowUs, gone, open, toggle, ended, close, act, hand, jogs, jog, going, signals }) {
  const arm = model.arm;
  const free = !arm.run; // while a program is played or held there is nothing to jog
  const [wanted, setWanted] = useState(false); // of joints that are homed already
  const homes = { oneByOne: oneByOne(arm), blind: isBlind(arm), open: isBlind(arm) || wanted, toggle: () => setWanted(!wanted) };
  return html`
    <${RunBar} arm=${arm} gone=${gone} nowUs=${nowUs} act=${act} homes=${homes} />
    ${free && homes.oneByOne && homes.open && html`<${Homing} arm=${arm} gone=${gone} act=${act} going=${going} />`}
    ${arm.queue?.playing && html`<p class="queue">${queuePlace(arm.queue)}</p>`}
    <${Unseen} arm=${arm} />
    <p class="unseen" role="status">${gone ? "" : troubles(arm, late, nowUs)}</p>
    ${!free && jogs && html`<${NoJog} />`}
    ${free && html`<${JogBar} hand=${hand} joints=${arm.joints} on=${jogs} toggle=${jog} />`}
    <ul class="lanes">
      ${arm.joints.map((joint) => html`
        <${Lane} key=${joint.name} joint=${joint} model=${model} late=${late} nowUs=${nowUs} gone=${gone}
          open=${open.has(joint.name)} toggle=${() => toggle(joint.name)} act=${act}
          hand=${jogs && free ? hand : null} />`)}
    </ul>
    <${Axis} start=${model.start} nowUs=${nowUs} />
    ${ended && html`
      <section class="card" aria-label="The run that ended">
        <${Report} report=${ended} />
        <${WayBack} key=${ended.run} report=${ended} model=${model} gone=${gone} going=${going} act=${act} />
        <p><button class="plain" onClick=${close}>Close</button> <a href="#records">All records</a></p>
      </section>`}
    <${Journal} arm=${arm} nowUs=${nowUs} act=${act} signals=${signals} />`;
}

// For whoever hears the page: which joints are not as they should be.
function troubles(arm, late, nowUs) {
  return arm.joints
    .map((joint) => [joint.name, jointSign(joint, isFresh(joint, nowUs), { late })])
    .filter(([, [, , level]]) => level)
    .map(([name, [, word]]) => `${name}: ${word}.`)
    .join(" ");
}

function Axis({ start, nowUs }) {
  const marks = [-10, -8, -6, -4, -2, 0, 1, 2, 3].filter((s) => s >= -PAST_S && s <= FUTURE_S);
  const word = (s) => (s === 0 ? "now" : `${s < 0 ? "−" : "+"}${Math.abs(s)} s`);
  const anchor = (s) => (s === -PAST_S ? "start" : s === FUTURE_S ? "end" : "middle");
  return html`
    <div class="axis">
      <svg class="marks" width="100%" height="18" role="img" aria-label="Time from 10 s ago to 3 s ahead">
        ${marks.map((s) => html`
          <text key=${s} class=${(s < 0 && s % 4) || s === 2 ? "spare" : ""} x="${(place(s) * 100).toFixed(2)}%" y="13"
            text-anchor=${anchor(s)}>${word(s)}</text>`)}
      </svg>
      <p class="legend">
        <span><i class="permit"></i>may move until here (motion permit)</span>
        <span><i class="buffer"></i>buffered motion</span>
        <span><i class="dashed"></i>planned</span>
        <span><i class="start"></i>${startWords(start, nowUs)}</span>
        <span>each lane to its own scale</span>
      </p>
    </div>`;
}

function startWords(start, nowUs) {
  if (!start) return "common start";
  if (start.set) {
    return `start set in ${micros(Math.max(0, start.at_us - nowUs))}${start.attempts > 1 ? `, try ${start.attempts}` : ""}`;
  }
  if (start.start_skew_max_us == null) return "common start, start skew not known yet";
  if (start.start_skew_us == null) return `common start, guaranteed at most ${micros(start.start_skew_max_us)}`;
  return `common start, ${micros(start.start_skew_us)} apart, guaranteed at most ${micros(start.start_skew_max_us)}`;
}
