// The figures of a run in loops, in words.

import { html } from "htm/preact";
import { clockTime, figure } from "./figures.js";

const DELAYS = {
  held: "held", paused: "paused", waited: "waited for", starting: "starting",
  "start-repeated": "start repeated",
  speed: "speed below 100 %", "edges-checked": "home edges checked",
};
const INTERVENTIONS = [
  ["holds", "hold by people", "holds by people"], ["takeovers", "takeover", "takeovers"],
  ["other_holds", "other hold", "other holds"], ["pauses", "pause", "pauses"],
  ["speed_changes", "change of speed", "changes of speed"],
];
const seconds = (us) => figure(us / 1e6, 1, "s");

/** Which loop of how many; empty for a program that is played once. */
export function loopWords(run) {
  if (run.loops === 1) return "";
  const of = run.loops == null ? "" : ` of ${run.loops}`;
  return `, ${run.checks_edges_now ? "home edges before loop" : "loop"} ${run.loop ?? "–"}${of}`;
}

/** How many are done, how long they take, what held the slowest up, and who interfered. */
export function Production({ run }) {
  if (run.loops === 1) return null;
  const { done, mean_us: mean, slowest, interventions } = run.production;
  const some = INTERVENTIONS.filter(([member]) => interventions[member] > 0).map(([member, one, several]) =>
    `${interventions[member]} ${interventions[member] === 1 ? one : several}`);
  return html`<p class="small production">
    ${done} done${run.loops == null ? "" : ` of ${run.loops}`}${mean == null ? "" : `, ${seconds(mean)} each`}${
      run.production.edges_mean_us == null ? "" : `, ${seconds(mean - run.production.edges_mean_us)} without the checks of home edges`}${
      run.to_go_us == null ? "" : `, ${clockTime(run.to_go_us / 1e6)} ${run.loops == null ? "left to begin one" : "to go"}`}.
    ${done > 1 && slowest ? ` Slowest: loop ${slowest.loop}, ${seconds(slowest.lasted_us)}: ${
      slowest.delays.map(delayWords).join("; ") || "nothing is recorded that held it up"}.` : ""}
    ${some.length > 0 ? ` ${some.join(", ")}.` : ""}</p>`;
}

function delayWords({ kind, why, lasted_us: lasted }) {
  const what = DELAYS[kind] ?? kind;
  if (kind === "waited") return `${what} ${why} ${seconds(lasted)}`;
  return `${what} ${seconds(lasted)}${why ? ` (${why})` : ""}`;
}
