// One joint, base to tool: name, state, angle, temperature, supply, link, and its strip.

import { html } from "htm/preact";
import { closed } from "./api.js";
import { Heat, Range } from "./bars.js";
import { Details } from "./details.js";
import { JogRow } from "./jog.js";
import { angle, figure, NONE, old } from "./figures.js";
import { jointSign, Shape } from "./signs.js";
import { ageS, isFresh } from "./state.js";
import { Strip } from "./strip.js";

/** A joint's row. `gone`: the coordinator is not heard, so nothing here is live. `hand`: jogs, or null. */
export function Lane({ joint, model, late, nowUs, gone, open, toggle, act, hand }) {
  const heard = isFresh(joint, nowUs);
  const fresh = heard && !gone;
  const [shape, word, level, why] = jointSign(joint, heard || gone, { late, preview: model.arm.preview, nowUs });
  const heat = warmthOf(joint);
  const worst = level || (fresh ? heat.level : "");
  const age = ageS(joint, nowUs);
  return html`
    <li class="lane ${fresh ? "" : "stale"} ${worst}">
      <div class="who">
        <h2><button class="name" aria-expanded=${open} onClick=${toggle}>
          ${joint.name} <span class="word">${joint.word}</span>
          <span class="unseen">, details</span>
        </button></h2>
        <p class="state ${level}"><${Shape} name=${shape} /> ${gone ? `was ${word}` : word}</p>
        ${why && html`<p class="cause">${closed(why)}</p>`}
      </div>
      <div class="where">
        <p class="angle">${!fresh && !gone && joint.homed ? html`<span class="small">last </span>` : ""}${angle(joint.homed ? joint.position_deg : null)}</p>
        <${Range} joint=${joint} deg=${joint.homed ? joint.position_deg : null} />
      </div>
      <div class="health">
        <div class="warmth ${heat.level}">
          <span>${heat.level && html`<${Shape} name="attention" /> `}${heat.word} ${figure(heat.c, 0, "°C")}</span>
          <${Heat} joint=${joint} history=${model.heats[joint.name]} c=${heat.c} />
        </div>
        <p class="small"><${Small} joint=${joint} age=${old(age)} /></p>
        <${Tool} joint=${joint} fresh=${fresh} />
      </div>
      <${Strip} joint=${joint} />
      ${hand && html`<${JogRow} hand=${hand} joint=${joint} gone=${gone} />`}
      ${open && html`<${Details} joint=${joint} history=${model.heats[joint.name]}
        notes=${model.arm.notes} homing=${model.arm.homing} nowUs=${nowUs} gone=${gone} act=${act} />`}
    </li>`;
}

/** How warm a joint is, with a word and a level; not known where its sensor is not believed. */
function warmthOf(joint) {
  const c = joint.temperature_c ?? null;
  if (joint.plausible === false) return { c: null, word: sensorWord(joint), level: "attention" };
  if (c !== null && joint.limit_c != null && c > joint.limit_c) return { c, word: "hot", level: "danger" };
  return joint.warm && c !== null ? { c, word: "warm", level: "attention" } : { c, word: "", level: "" };
}

/** What is wrong with a temperature sensor, in two words. */
function sensorWord(joint) {
  const broken = joint.temperature_sensor;
  if (broken === "missing") return "sensor gives nothing";
  return broken && broken !== "sound" ? `sensor ${broken}` : "sensor not believed";
}

// Its outputs and inputs, where it has some, as it said last.
function Tool({ joint, fresh }) {
  const found = [...Object.entries(joint.outputs ?? {}), ...Object.entries(joint.inputs ?? {})];
  if (found.length === 0) return null;
  return html`<p class="tool">${fresh ? "" : html`<span class="small">last </span>`}${
    found.map(([name, on], k) => html`<span key=${name}>${k ? ", " : ""}${name} <strong>${on ? "on" : "off"}</strong></span>`)}</p>`;
}

function Small({ joint, age }) {
  const rtt = joint.rtt_p50_us == null ? NONE : figure(joint.rtt_p50_us / 1000, 0, "ms");
  const loss = joint.loss == null ? NONE : figure(joint.loss * 100, 0, "%");
  const bound = joint.clock?.uncertainty_us;
  const clock = bound == null ? NONE : `±${figure(bound / 1000, 1, "ms")}`;
  return html`
    <span>${figure(joint.supply_v, 1, "V")}</span> <span>link ${rtt}</span>
    ${" "}<span class="age">${age}</span> <span>fan ${figure(joint.fan_percent, 0, "%")}</span>
    ${" "}<span>lost ${loss}</span> <span>clock ${clock}</span>`;
}
