// One quantity over time: a band from least to greatest with its mean, what was counted in each stretch, or points.

import { html } from "htm/preact";
import { useRef } from "preact/hooks";
import uPlot from "uplot";
import { figure, NONE } from "./figures.js";
import { axisOf, token, usePlot } from "./plot.js";
import { instant, lengthOf } from "./span.js";

const HEIGHT = 130;
const AXIS = 56;
const EDGE = 26; // half a label of the time axis
const MARGIN = 0.1;
const LABEL_PX = 96; // between two labels of the time axis
const LEAST_DRAG_PX = 6; // what is shorter was a press and no drag
const [MIN_S, H_S, D_S] = [60, 3600, 86_400];
const STEPS_S = [...[1, 5, 10, 30], ...[1, 2, 5, 10, 15, 30].map((one) => one * MIN_S), ...[1, 2, 3, 6, 12].map((one) => one * H_S),
  ...[1, 2, 7, 14, 28, 56, 91, 182, 364, 728, 1456].map((one) => one * D_S)]; // between two labels

/** The chart; `zoom` is told from when to when somebody dragged, Unix time in s. */
export function HistoryChart({ kind, told, span, zoom }) {
  const place = useRef(null);
  const points = useRef(null);
  const columns = kind.columns(told);
  const limits = kind.limits?.(told) ?? [];
  usePlot(place, [told, kind], () => {
    const data = drawn(kind, told, columns, limits);
    const at = (chart) => {
      const k = chart.cursor.idx;
      points.current.textContent = k == null ? "" : pointed(kind, data, k, columns.length, span);
    };
    const select = (chart) => {
      const { left, width } = chart.select;
      if (width >= LEAST_DRAG_PX) zoom(chart.posToVal(left, "x"), chart.posToVal(left + width, "x"));
      chart.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false);
    };
    return { options: options(kind, data, columns.length, limits.length, span, at, select), data };
  });
  return html`
    <figure class="curve">
      <figcaption class="small"><strong>${kind.name}</strong> ${inWords(kind, columns, limits)} <span ref=${points}></span></figcaption>
      <div ref=${place} aria-hidden="true"></div>
    </figure>`;
}

// Where nothing is known the lines are parted.
function drawn(kind, told, columns, limits) {
  const half = told.stretch_s / 2;
  const x = [];
  const rows = [];
  told.start_s.forEach((start, k) => {
    if (!kind.points && k > 0 && start - told.start_s[k - 1] > 1.5 * told.stretch_s) {
      x.push(told.start_s[k - 1] + told.stretch_s + half);
      rows.push(columns.map(() => null));
    }
    x.push(start + half);
    rows.push(columns.map((column) => column[k]));
  });
  return [x, ...columns.map((_, column) => rows.map((row) => row[column])), ...limits.map((one) => x.map(() => one))];
}

const known = (column) => column.filter((value) => value != null);

function inWords(kind, columns, limits) {
  const [values] = columns;
  if (known(values).length === 0) return "nothing is known";
  const said = (value) => figure(value, kind.decimals, kind.unit);
  if (columns.length === 1 && !kind.points) {
    return kind.share ? `${said(Math.min(...known(values)))} to ${said(Math.max(...known(values)))}`
      : `${said(known(values).reduce((sum, one) => sum + one, 0))} in all`;
  }
  const reached = `${said(Math.min(...known(columns[0])))} to ${said(Math.max(...known(columns[kind.points ? 0 : 1])))}`;
  return limits.length ? `${reached}; dashed, ${kind.dashed} at ${limits.map(said).join(" and ")}` : reached;
}

function pointed(kind, data, k, count, span) {
  const said = (value) => (value == null ? NONE : figure(value, kind.decimals, kind.unit));
  const values = count === 1 ? said(data[1][k]) : `${said(data[1][k])} to ${said(data[2][k])}, mean ${said(data[3][k])}`;
  return `${instant(data[0][k], lengthOf(span))}: ${values}`;
}

// All that is drawn, with a margin; limits only where they are near.
function scale(kind, data, count) {
  const values = data.slice(1, 1 + count).flatMap(known);
  if (kind.fromZero || values.length === 0) return [0, Math.max(kind.atLeast, ...values) * (1 + MARGIN)];
  const [low, high] = [Math.min(...values), Math.max(...values)];
  const margin = Math.max(kind.atLeast / 2, (high - low) * MARGIN);
  const reach = 3 * (high - low + kind.atLeast);
  const near = data.slice(1 + count).map((line) => line[0]).filter((one) => one > low - reach && one < high + reach);
  return [Math.min(low, ...near) - margin, Math.max(high, ...near) + margin];
}

function options(kind, data, count, limits, span, at, select) {
  const ink = token("--ink");
  const line = (stroke, more) => ({ stroke, width: 1.5, points: { show: false }, spanGaps: false, ...more });
  const shown = kind.points ? [line("transparent", { points: { show: true, size: 6, stroke: ink, fill: ink } })] : count === 1
    ? [line(ink, { fill: token("--trough"), paths: uPlot.paths.stepped({ align: 0 }) })]
    : [line("transparent"), line("transparent"), line(ink)];
  const lonely = { show: (chart) => chart.data[0].length < 3, size: 5 }; // a line needs two of them
  if (!kind.points) shown.at(-1).points = lonely;
  const dashed = [token(kind.points ? "--danger" : "--attention-mark"), token("--danger")]; // or both ends of one limit
  return {
    height: HEIGHT,
    padding: [8, EDGE, 0, 0],
    cursor: { sync: { key: "history" }, y: false, drag: { x: true, y: false, setScale: false, dist: LEAST_DRAG_PX }, points: { size: 6 } },
    hooks: { setCursor: [at], setSelect: [select] },
    legend: { show: false },
    scales: { x: { time: false, range: [span.from, span.to] }, y: { range: scale(kind, data, count) } },
    bands: count === 1 ? [] : [{ series: [2, 1], fill: "#9aa5aa" }],
    series: [{}, ...shown, ...Array.from({ length: limits }, (_, k) => line(dashed[k], { dash: [5, 4] }))],
    axes: [
      axisOf({ size: 22, space: LABEL_PX, incrs: STEPS_S, values: (_, all) => all.map((s) => instant(s, lengthOf(span))) }),
      axisOf({ size: AXIS, values: (_, all) => all.map((one) => figure(one, one % 1 ? Math.max(1, kind.decimals) : 0, "")) }),
    ],
  };
}
