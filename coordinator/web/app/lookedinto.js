// What was looked into of a joint, beside what it tells of itself: its link by the newest survey,
// and how the hop wears by which it gets its supply. Asked for when the details are opened.

import { html } from "htm/preact";
import { closed, sentence } from "./api.js";
import { useAnswer } from "./answer.js";
import { figure, micros } from "./figures.js";
import { dateTime } from "./report.js";
import { Shape } from "./signs.js";

// How often forecasts of simulated rings held (docs/history.md).
const HELD = "Of simulated rings 95 % held to theirs; no real one was measured.";
const DAY = 10; // letters of a date, as 2026-05-01

/** The joint's link, as it was surveyed last. */
export function Surveyed({ joint, gone }) {
  const { answer, why } = useAnswer("/survey", [joint.name, gone]);
  return html`
    <h3>Link by the newest survey</h3>
    ${answer === null ? html`<p class="small">${why}</p>` : html`<${Survey} name=${joint.name} survey=${answer} />`}`;
}

function Survey({ name, survey }) {
  if (survey.phase !== "done") {
    const how = survey.phase === "none" ? " It is made by 'unisono survey', at rest." : "";
    return html`<p class="small">${sentence(survey.message)}${how}</p>`;
  }
  const when = survey.ended_utc ? ` It ended ${dateTime(survey.ended_utc)}; what came since is not in it.` : "";
  const found = survey.results.find((one) => one.joint === name);
  if (!found) return html`<p class="small">This joint was not in it.${when}</p>`;
  const { figures, findings, multicast, verdict } = found;
  return html`
    <p class=${verdict === "good" ? "" : "attention"}>${verdict !== "good" && html`<${Shape} name="attention" /> `}<strong>${
      sentence(verdict)}</strong> ${findings.length === 0 && closed(found.message)}</p>
    ${findings.length > 0 && html`<ul>${findings.map((one) => html`
      <li key=${one.code}>${sentence(one.message)} ${sentence(one.advice)}</li>`)}</ul>`}
    ${multicast && !multicast.advice && html`<p class="small">${closed(multicast.message)}</p>`}
    <p class="small">${figures && `Of ${figures.sent} exchanges ${figures.lost} were lost, ${share(figures.loss_low)} to ${
      share(figures.loss_high)} by a 95 % interval, which is wider where losses come in rows. Of round trips 99 % took ${
      micros(figures.rtt_p99_us)} at most.`}${when} It is no measure of safety: any link may be cut in the next second.</p>`;
}

const share = (of) => figure(of * 100, 2, "%");

/** What the hop to the joint has, what the arm bears, and when it is worn out if it goes on so. */
export function HopWear({ joint, gone }) {
  const { answer, why } = useAnswer(`/joints/${encodeURIComponent(joint.name)}/wear`, [gone]);
  return html`
    <h3>Wear of the hop to it</h3>
    ${answer === null ? html`<p class="small">${why}</p>`
      : !answer.hop ? html`<p class="small">It is not known: the coordinator is an older one.</p>`
        : html`<${Hop} hop=${answer.hop} today=${new Date().toISOString().slice(0, DAY)} />`}`;
}

function Hop({ hop, today }) {
  const has = hop.ohm === null ? `It is not fitted: ${closed(hop.message)}`
    : `It has ${figure(hop.ohm, 3, "Ω")}, standard uncertainty ${figure(hop.uncertainty_ohm, 3, "Ω")}.`;
  const bears = hop.limit_ohm === null
    ? "With all joints in motion one is below its limit whatever this hop has."
    : `With all joints in motion the arm bears ${figure(hop.limit_ohm, 3, "Ω")} there.`;
  const known = hop.since === null ? "" : ` By ${hop.days} days with a value, from ${hop.since} to ${hop.until}.`;
  return html`
    ${hop.beyond && html`<p class="danger"><${Shape} name="urgent" /> <strong>${hop.limit_ohm === null
      ? "The arm has not enough supply for all joints in motion." : "It has more than the arm bears."}</strong>${
      " "}One may stop, and the arm with it: look at its slip ring and plugs.</p>`}
    <p>${has} ${bears}</p>
    <p class="small">${forecast(hop, today)}${known}</p>`;
}

function forecast(hop, today) {
  const already = hop.earliest !== null && hop.earliest <= today ? " It may have passed that already." : "";
  if (hop.passes === null) return `When that is passed is not known: ${closed(hop.reason)}${already}`;
  const rise = hop.ohm_per_day === null ? "" : `It wears by ${figure(hop.ohm_per_day * 1000, 2, "mΩ")} a day, standard uncertainty ${
    figure(hop.uncertainty_ohm_per_day * 1000, 2, "mΩ")}. `;
  return `${rise}If that goes on and nothing else changes, it passes that about ${hop.passes}, by its 90 % interval from ${
    hop.earliest ?? "then"} to ${hop.latest ?? "some day after 2199"}.${already} ${HELD}`;
}
