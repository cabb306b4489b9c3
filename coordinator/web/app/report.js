// What a run was: how it ended, its starts with their proof, the start margin of each joint, its holds.

import { html } from "htm/preact";
import { sentence } from "./api.js";
import { dayTime, figure, micros, NONE } from "./figures.js";
import { Production } from "./production.js";

/** A report as the coordinator keeps it. */
export function Report({ report }) {
  const took = report.ended_at_us == null ? null : (report.ended_at_us - report.began_at_us) / 1e6;
  return html`
    <h2>Run ${report.run}, ${report.name}: ${report.outcome}</h2>
    ${report.message && html`<p>${sentence(report.message)}</p>`}
    ${lastPlace(report) && html`<p>${lastPlace(report)}</p>`}
    <p>${report.began_utc ? `Began ${dateTime(report.began_utc)}, took` : "Took"} ${figure(took, 1, "s")}.</p>
    <ul class="facts">
      ${happened(report).map(({ atUs, what, told }) => html`<li key="${what} ${atUs}">
        ${figure((atUs - report.began_at_us) / 1e6, 1, "s")}: <strong>${what}</strong>: ${told}.</li>`)}
      ${report.starts_left_out > 0 && html`<li><strong>Starts that are not told here</strong>: ${report.starts_left_out}.</li>`}
      ${report.holds_left_out > 0 && html`<li><strong>Holds that are not told here</strong>: ${report.holds_left_out}.</li>`}
      ${report.overrides_left_out > 0 && html`<li><strong>Speeds that are not told here</strong>: ${report.overrides_left_out}.</li>`}
      ${report.production && report.loops !== 1 && html`<li><strong>Loops</strong>: <${Production} run=${report} /></li>`}
      ${Object.entries(report.edges_passed ?? {}).length > 0 && html`<li><strong>Home edges between loops</strong> were where they
        should be, times: ${counted(report.edges_passed)}.</li>`}
      ${Object.entries(report.edges_unconfirmed ?? {}).length > 0 && html`<li><strong>Home edges not seen</strong>, times:${" "}
        ${counted(report.edges_unconfirmed)}.</li>`}
      ${report.partial_starts > 0 && html`<li><strong>Partial starts</strong>: ${report.partial_starts}.</li>`}
      ${report.stop_level && html`<li><strong>Level of the stop</strong>: ${report.stop_level}.</li>`}
      ${report.stop_unconfirmed?.length > 0 && html`<li><strong>Stop not confirmed</strong> by ${report.stop_unconfirmed.join(", ")}.</li>`}
    </ul>
    <div class="scroll" tabindex="0" role="region" aria-label="Joint by joint">
      <table>
        <thead><tr><th scope="col">joint</th><th scope="col">start margin</th><th scope="col">buffer margin</th>
          <th scope="col">clock uncertainty</th></tr></thead>
        <tbody>${report.joints.map((joint) => html`
          <tr key=${joint.name}><th scope="row">${joint.name}</th><td>${micros(joint.start_margin_us)}</td>
            <td>${micros(joint.buffer_margin_us)}</td><td>${micros(joint.clock_uncertainty_us)}</td></tr>`)}
        </tbody>
      </table>
    </div>
    <p class="small">Start margin: how long before the start a joint had all it needed. Buffer margin: how much
      longer its points would have lasted than the slowest delivery took.</p>`;
}

/** Starts, holds and changes of speed in order of time. */
export function happened(report) {
  const started = report.starts.map((start) => ({
    atUs: start.at_us, what: start.path_us > 0 ? "Resume" : "Start",
    told: `all joints began ${began(start)}; ${start.attempts === 1 ? "first try" : `${start.attempts} tries`}, `
      + `set ${micros(start.start_delay_us)} ahead`,
  }));
  const held = report.holds.map((hold) => ({
    atUs: hold.at_us, what: "Hold",
    told: `${hold.cause}; ${apart(hold)}`
      + (hold.unconfirmed?.length > 0 ? `; rest not confirmed by ${hold.unconfirmed.join(", ")}` : ""),
  }));
  const asked = (report.overrides ?? []).map((one) => ({
    atUs: one.at_us, what: "Speed", told: figure(one.percent, 0, "%"),
  }));
  // What is in force from a start on was asked for before it.
  return [...asked, ...started, ...held].sort((one, other) => one.atUs - other.atUs);
}

/** At which line, loop and part a run was that did not finish; empty of one that did or never began. */
export function lastPlace(report) {
  const { outcome, line, loops } = report;
  if (line == null || outcome === "finished") return "";
  const loop = loops === 1 || !report.production ? ""
    : `, loop ${report.production.done + 1}${loops == null ? "" : ` of ${loops}`}`;
  const part = report.starts.at(-1)?.part ?? 1;
  const where = `line ${line}${loop}${part > 1 ? `, part ${part}` : ""}`;
  return outcome === "lost" ? `The program was last known to be at ${where}, and may have gone on for some seconds.`
    : `The program was last at ${where}.`;
}

/** How far apart on the path the joints came to rest, and of which that is not known. */
export function apart(hold) {
  const unknown = Object.entries(hold.path_us).filter(([, path]) => path === null).map(([name]) => name);
  if (unknown.length === 0) return `joints ${micros(hold.apart_us)} of path time apart`;
  const others = Object.keys(hold.path_us).length - unknown.length;
  return `path time of ${unknown.join(", ")} not known`
    + (others > 1 ? `, the other joints ${micros(hold.apart_us)} apart` : "");
}

/** Local date and time of an instant: UTC as text, or Unix time in ms. */
export function dateTime(utc) {
  if (utc == null) return NONE;
  const date = new Date(utc);
  const parts = [date.getFullYear(), date.getMonth() + 1, date.getDate()];
  return `${parts.map((part) => String(part).padStart(2, "0")).join("-")} ${dayTime(date)}`;
}

// How far apart joints began: what is proved, and an estimate where it is worth anything.
function began(start) {
  if (start.start_skew_max_us == null) return "apart by a time that is not proved";
  const proved = `guaranteed at most ${micros(start.start_skew_max_us)}`;
  return start.start_skew_us == null ? `apart by what is ${proved}` : `${micros(start.start_skew_us)} apart, ${proved}`;
}

const counted = (counts) => Object.entries(counts).map(([name, count]) => `${name} ${count}`).join(", ");
