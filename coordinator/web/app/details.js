// What is worth knowing of one joint only now and then.

import { html } from "htm/preact";
import { closed, post } from "./api.js";
import { useAnswer } from "./answer.js";
import { angle, figure, micros, NONE, timeOfDay } from "./figures.js";
import { isFresh } from "./state.js";
import { heatRows } from "./heat.js";
import { HopWear, Surveyed } from "./lookedinto.js";
import { Warmth } from "./warmth.js";

const LAST = 5; // of what happened to the joint

/** One joint on demand. */
export function Details({ joint, history, notes, homing, nowUs, gone, act }) {
  const rows = [...identity(joint), ...link(joint), ...motion(joint), ...heatRows(joint), ...counters(joint)];
  return html`
    <section class="details" aria-label="Details of ${joint.name}">
      <dl>${rows.map(([name, value]) => html`<div key=${name}><dt>${name}</dt><dd>${value}</dd></div>`)}</dl>
      <${Warmth} joint=${joint} history=${history} nowUs=${nowUs} />
      <${LastHoming} joint=${joint} homing=${homing} gone=${gone} />
      <${Surveyed} joint=${joint} gone=${gone} />
      <${HopWear} joint=${joint} gone=${gone} />
      <${Happened} joint=${joint} notes=${notes} nowUs=${nowUs} />
      <${Outputs} joint=${joint} fresh=${isFresh(joint, nowUs)} act=${act} />
      <p>
        <button class="plain" onClick=${() => act(() => post("/blink", { joint: joint.name }))}>
          Blink its light
        </button>
        <span class="small"> Motors and drivers may be hot; keep out of the arm's reach while it can move.</span>
      </p>
    </section>`;
}

// What a hand may switch; the coordinator refuses it while anything moves.
function Outputs({ joint, fresh, act }) {
  const outputs = Object.entries(joint.outputs ?? {});
  if (outputs.length === 0) return null;
  return html`
    <h3>Outputs</h3>
    ${outputs.map(([output, on]) => html`<p key=${output}>
      ${output} ${fresh ? "is" : "was last"} ${on ? "on" : "off"}
      ${" "}<button class="plain" onClick=${() => act(() => post("/output", { output, on: !on }))}>
        Switch ${output} ${on ? "off" : "on"}</button>
      <span class="small"> At rest only. What a gripper holds may fall.</span></p>`)}`;
}

const identity = (joint) => [
  ["id", joint.id],
  ["firmware", `${joint.firmware ?? NONE}${joint.on_trial ? ", on trial" : ""}`],
  ["board", joint.board ?? NONE],
  ["boot", joint.boot ?? NONE],
];

function link(joint) {
  const clock = joint.clock ?? {};
  return [
    ["link", joint.link_message || joint.link],
    ["round trip, half and 99 % within", `${micros(joint.rtt_p50_us)}, ${micros(joint.rtt_p99_us)}`],
    ["worst link delay", micros(joint.worst_delay_us)],
    ["signal", figure(joint.rssi_dbm, 0, "dBm")],
    ["clock", clock.locked ? "locked" : clock.reason || "not locked"],
    ["clock uncertainty", micros(clock.uncertainty_us)],
    ["clock rate", figure(clock.rate_ppm, 1, "ppm")],
  ];
}

function motion(joint) {
  return [
    ["homed", joint.homed == null ? NONE : joint.homed ? "yes" : "no"],
    ["motor", motor(joint)],
    ["speed", figure(joint.velocity_deg_s, 1, "°/s")],
    ["smallest step of its motor", figure(joint.microstep_deg, 5, "°")],
    ["largest speed", figure(joint.velocity_limit_deg_s, 0, "°/s")],
    ["largest acceleration", figure(joint.acceleration_limit_deg_s2, 0, "°/s²")],
    ["temperature", figure(joint.temperature_c, 1, "°C")],
    ["its temperature sensor", joint.temperature_sensor ?? "not known"],
    ["temperature, warning and limit", `${figure(joint.warning_c, 0, "°C")}, ${figure(joint.limit_c, 0, "°C")}`],
    ...supply(joint),
    ["faults", joint.faults == null ? NONE : joint.faults.join(", ") || "none"],
  ];
}

// What it measures, what is to be expected, and by which way that comes.
function supply(joint) {
  const way = joint.supply ?? {};
  const fitted = way.hop_uncertainty_ohm != null;
  const ohm = figure(way.hop_ohm, 3, "Ω");
  const hop = fitted ? `${ohm}, standard uncertainty ${figure(way.hop_uncertainty_ohm, 3, "Ω")}`
    : way.hop_message ? `${ohm} by the arm file; not fitted: ${way.hop_message}` : NONE;
  return [
    ["supply", figure(joint.supply_v, 1, "V")],
    ["supply to expect with all joints in motion",
      way.expected_message || figure(way.expected_v, 1, "V")],
    ["resistance of the way to it", hop],
  ];
}

// Its current, and why that is never reduced.
function motor(joint) {
  if (joint.supply?.lost) return "without supply";
  if (joint.energised == null) return NONE;
  if (!joint.energised) return "off";
  if (joint.reduced) return "on, with reduced current";
  const because = joint.full_current_because;
  return because ? `on, always with full current: ${because}` : "on, with full current";
}

function counters(joint) {
  const counted = joint.counters ?? {};
  const count = (value) => figure(value, 0, "");
  return [
    ["exchanges lost", `${count(counted.lost)} of the last ${count(counted.exchanges)}`],
    ["connections made", count(counted.streams)],
    ["restarts seen", count(counted.boots_seen)],
    ["touch control, pressed", count(counted.touch_presses)],
    ["touch control, pressed long", count(counted.touch_long_presses)],
    ["touch control, turned by", count(counted.touch_turn)],
  ];
}

// Where the sensor's edges were found. Asked for anew when the joint was homed anew, or the
// coordinator is heard again.
function LastHoming({ joint, homing, gone }) {
  const done = homing?.joints?.[joint.name] ? homing.number : null;
  const { answer: found, why } = useAnswer(`/joints/${encodeURIComponent(joint.name)}/homing`, [joint.boot, done, gone]);
  return html`
    <h3>Last homing</h3>
    ${found?.homing == null ? html`<p class="small">${why || "None is known."}</p>` : html`
      <p class="small">Homing ${found.homing}: home offset ${angle(found.home_offset_deg)}. Edges of
        its sensor, from their middle:</p>
      <ul class="edges">${found.edges.map((edge, k) => html`<li key=${k}>${angle(edge.from_middle_deg)}${
        edge.rising ? ", comes on" : ", goes off"}${edge.fast ? ", fast" : ", slow"}</li>`)}</ul>`}`;
}

function Happened({ joint, notes, nowUs }) {
  const own = notes.filter((note) => note.joint === joint.name).slice(-LAST).reverse();
  return html`
    <h3>What happened to it last</h3>
    ${own.length === 0 ? html`<p class="small">Nothing is known.</p>` : html`
      <ul class="small happened">${own.map((note) => html`
        <li key=${`${note.at_us} ${note.code} ${note.message}`}>
          <time>${timeOfDay(note.at_us, nowUs)}</time> ${closed(note.message)}</li>`)}</ul>`}`;
}
