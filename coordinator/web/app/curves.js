// What a program would do: angle, speed or acceleration of each joint over time, with its limits.

import { html } from "htm/preact";
import { useRef, useState } from "preact/hooks";
import { CurveMarks } from "./curvemarks.js";
import { figure } from "./figures.js";
import { axisOf, token, usePlot } from "./plot.js";

const HEIGHT = 92;
const AXIS = 48; // as wide as in style.css
const EDGE = 12;
const LEAST_DEG = 2;
const MARGIN = 0.1; // of how far the joint turns, or of its limit

const both = (limit) => [limit, -limit];
const most = ([low, high]) => Math.max(high, -low);

// What may be looked at: its values, its limits (dashed), what a plan may use of them (dotted), words.
const KINDS = {
  angle: {
    unit: "°",
    values: (curves, name) => [curves.low_deg[name], curves.high_deg[name]],
    limits: (curves, name) => curves.range_deg[name] ?? [],
    told: (curves, name, [low, high]) => {
      const range = curves.range_deg[name];
      return `${figure(low, 1, "°")} to ${figure(high, 1, "°")}; ${range
        ? `range ${figure(range[0], 0, "°")} to ${figure(range[1], 0, "°")}` : "turns without end"}`;
    },
    note: "Dashed: the ends of a joint's range, where it comes near them.",
  },
  speed: {
    unit: "°/s",
    values: (curves, name) => [curves.low_deg_s[name], curves.high_deg_s[name]],
    limits: (curves, name) => both(curves.velocity_deg_s[name]),
    told: (curves, name, reached) =>
      `up to ${figure(most(reached), 1, "")} of ${figure(curves.velocity_deg_s[name], 0, "°/s")}`,
    note: "Dashed: a joint's velocity limit.",
  },
  acceleration: {
    unit: "°/s²",
    values: (curves, name) => [curves.low_deg_s2[name], curves.high_deg_s2[name]],
    limits: (curves, name) => both(curves.acceleration_deg_s2[name]),
    planned: (curves, name) => both(curves.plan_deg_s2[name]),
    told: (curves, name, reached) =>
      `up to ${figure(most(reached), 1, "")} of ${figure(curves.acceleration_deg_s2[name], 0, "°/s²")}, a plan may use ${
        figure(curves.plan_deg_s2[name], 0, "°/s²")}`,
    note: "Dashed: a joint's acceleration limit; dotted: what a plan may use of it.",
  },
};

/** One small chart for each joint, all over the same time; pointed at, it tells line and value. */
export function Curves({ curves }) {
  const [kind, setKind] = useState("angle");
  return html`
    <h3>Over time, from ${curves.begins === "here" ? "where the arm stands" : "the pose park"}</h3>
    <p class="choice" role="group" aria-label="What the curves show">${Object.keys(KINDS).map((one) => html`
      <button class="plain" key=${one} aria-pressed=${kind === one} onClick=${() => setKind(one)}>${one}</button>`)}</p>
    ${Object.keys(curves.low_deg).map((name) => html`
      <${Joint} key=${name} name=${name} curves=${curves} kind=${KINDS[kind]} />`)}
    <${CurveMarks} curves=${curves} />
    <p class="small">${KINDS[kind].note} Pauses and waits take no time here.</p>`;
}

function Joint({ name, curves, kind }) {
  const place = useRef(null);
  const told = useRef(null);
  const [lows, highs] = kind.values(curves, name);
  const reached = [Math.min(...lows), Math.max(...highs)];
  usePlot(place, [curves, kind], () => {
    const at = (chart) => {
      const k = chart.cursor.idx;
      told.current.textContent = k == null ? "" : `line ${curves.lines[k] || "–"}, ${
        figure(curves.time_s[k], 1, "s")}: ${between(lows[k], highs[k], kind.unit)}`;
    };
    const [limits, planned] = [kind.limits(curves, name), kind.planned?.(curves, name) ?? []];
    const scale = kind.unit === "°" ? spread(reached) : spread([...limits, ...reached]);
    const flat = [...limits, ...planned].map((one) => curves.time_s.map(() => one));
    return { options: options(kind.unit, limits, planned.length, scale, at), data: [curves.time_s, lows, highs, ...flat] };
  });
  return html`
    <figure class="curve">
      <figcaption class="small"><strong>${name}</strong> ${kind.told(curves, name, reached)} <span ref=${told}></span></figcaption>
      <div ref=${place} aria-hidden="true"></div>
    </figure>`;
}

// From and to, with a margin.
function spread(values) {
  const [low, high] = [Math.min(...values), Math.max(...values)];
  const margin = Math.max(LEAST_DEG, (high - low) * MARGIN);
  return [low - margin, high + margin];
}

// In a stretch of time in which much changes there is more than one value.
function between(low, high, unit) {
  const [first, last] = [figure(low, 1, unit), figure(high, 1, unit)];
  return first === last ? first : `${first} to ${last}`;
}

function options(unit, limits, planned, scale, at) {
  const [ink, danger, soft] = [token("--ink"), token("--danger"), token("--soft")];
  const line = (stroke, dash) => ({ stroke, width: 1.5, dash, points: { show: false } });
  const lines = (count, stroke, dash) => Array.from({ length: count }, () => line(stroke, dash));
  const ticks = unit === "°" ? {} : { splits: () => [limits[1], 0, limits[0]] };
  return {
    height: HEIGHT,
    padding: [8, EDGE, 0, 0],
    cursor: { sync: { key: "curves" }, y: false, drag: { x: false, y: false }, points: { size: 6 } },
    hooks: { setCursor: [at] },
    legend: { show: false },
    scales: { x: { time: false }, y: { range: scale } },
    bands: [{ series: [2, 1], fill: ink }],
    series: [{}, line(ink, []), line(ink, []), ...lines(limits.length, danger, [5, 4]), ...lines(planned, soft, [1.5, 3])],
    axes: [
      axisOf({ size: 22, values: (_, all) => all.map((s) => `${s} s`) }),
      axisOf({ ...ticks, size: AXIS, values: (_, all) => all.map((one) => figure(one, one % 1 ? 1 : 0, unit === "°" ? "°" : "")) }),
    ],
  };
}
