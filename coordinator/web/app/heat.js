// What was learnt of how a joint warms, in words: each figure with its 90 % interval, or why there is none.

import { figure, NONE } from "./figures.js";

/** Rows of the details: name and value. */
export function heatRows(joint) {
  const heat = joint.heat;
  if (heat == null) return [["how it warms", NONE]];
  const rows = heat.why_not ? [["how it warms", `not all is known: ${heat.why_not}`]] : [];
  const known = [
    ["in ten minutes at this load", within(heat.ten_minutes_c, 1, "°C")],
    ["until its warning at this load", left(heat.warning)],
    ["until its limit at this load", left(heat.limit)],
    ["rest that keeps it below its limit", rest(heat.rest_share)],
    ["settles at this load at", within(heat.steady_c, 1, "°C")],
    ["settles without load at", within(heat.ambient_c, 1, "°C")],
    ["this load adds", within(heat.rise_c, 1, "K")],
    ["time constant", minutes(heat.time_constant_s)],
    ["fan seen to come on, to go off", heat.fan_on_c == null && heat.fan_off_c == null ? null
      : `${figure(heat.fan_on_c, 0, "°C")}, ${figure(heat.fan_off_c, 0, "°C")}`],
    ["with its fan heat goes", heat.fan_factor && `${within(heat.fan_factor, 1, "")} times as fast`],
  ];
  return [...rows, ...known.filter(([, value]) => value != null)];
}

function within(one, decimals, unit) {
  if (one == null) return null;
  return `${figure(one.value, decimals, unit)} (${figure(one.low, decimals, "")} to ${figure(one.high, decimals, "")})`;
}

// Of the time, in turns of a few minutes.
function rest(share) {
  if (share == null) return null;
  return share === 0 ? "none needed" : `${figure(share * 100, 0, "%")} of the time; slower does not cool it`;
}

function minutes(one) {
  if (one == null) return null;
  const inMinutes = (s) => s / 60;
  return `${figure(inMinutes(one.value), 0, "min")} (${figure(inMinutes(one.low), 0, "")} to ${figure(inMinutes(one.high), 0, "")})`;
}

// The soonest is what counts where somebody is to be warned.
function left(time) {
  if (time == null) return null;
  if (time.soonest_s == null) return "not within six hours";
  const soonest = `at the soonest in ${figure(Math.floor(time.soonest_s / 60), 0, "min")}`;
  if (time.likely_s == null) return `not likely within six hours, ${soonest}`;
  return `likely in ${figure(Math.floor(time.likely_s / 60), 0, "min")}, ${soonest}`;
}
