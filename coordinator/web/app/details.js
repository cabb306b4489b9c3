// What is worth knowing of one joint only now and then.

import { html } from "htm/preact";
import { figure, micros, NONE } from "./figures.js";
import { post } from "./api.js";
import { Warmth } from "./warmth.js";

/** One joint on demand. */
export function Details({ joint, history, nowUs, act }) {
  const clock = joint.clock ?? {};
  const rows = [
    ["id", joint.id],
    ["firmware", joint.firmware ?? NONE],
    ["boot", joint.boot ?? NONE],
    ["link", joint.link_message || joint.link],
    ["round trip, half and 99 % within", `${micros(joint.rtt_p50_us)}, ${micros(joint.rtt_p99_us)}`],
    ["a repeated state is across within (Q)", micros(joint.q_us)],
    ["signal", figure(joint.rssi_dbm, 0, "dBm")],
    ["clock", clock.locked ? "locked" : clock.reason || "not locked"],
    ["clock known to within", micros(clock.bound_us)],
    ["clock rate", figure(clock.rate_ppm, 1, "ppm")],
    ["homed", joint.homed == null ? NONE : joint.homed ? "yes" : "no"],
    ["motor", joint.energised == null ? NONE : joint.energised ? "on" : "off"],
    ["speed", figure(joint.velocity_deg_s, 1, "°/s")],
    ["largest speed", figure(joint.velocity_limit_deg_s, 0, "°/s")],
    ["largest acceleration", figure(joint.acceleration_limit_deg_s2, 0, "°/s²")],
    ["temperature, warning and limit", `${figure(joint.warning_c, 0, "°C")}, ${figure(joint.limit_c, 0, "°C")}`],
    ["faults", joint.faults == null ? NONE : joint.faults.join(", ") || "none"],
  ];
  return html`
    <section class="details" aria-label="Details of ${joint.name}">
      <dl>${rows.map(([name, value]) => html`<div key=${name}><dt>${name}</dt><dd>${value}</dd></div>`)}</dl>
      <${Warmth} joint=${joint} history=${history} nowUs=${nowUs} />
      <p>
        <button class="plain" onClick=${() => act(() => post("/blink", { joint: joint.name }))}>
          Blink its light
        </button>
        <span class="small"> Motors and drivers may be hot; keep out of the arm's reach while it can move.</span>
      </p>
    </section>`;
}
