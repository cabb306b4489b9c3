// A joint's temperature over the last ten minutes, with its warning and limit.

import { html } from "htm/preact";
import { useEffect, useRef } from "preact/hooks";
import uPlot from "uplot";
import { FONT } from "./plot.js";

const HEIGHT = 150;
const WIDEST = 640;
const SPAN_S = 600;
const STEP_US = 5e6; // an old point moves away from now
const STROKES = ["#1e2326", "#a86a00", "#a3161c"]; // reading, warning, limit

/** The chart; what it shows last stands as a figure in the lane. */
export function Warmth({ joint, history, nowUs }) {
  const place = useRef(null);
  const chart = useRef(null);
  const data = columns(joint, history, nowUs);
  useEffect(() => {
    const width = Math.min(WIDEST, place.current.clientWidth);
    chart.current = new uPlot(options(width, joint), data, place.current);
    return () => chart.current.destroy();
  }, [joint.name]);
  useEffect(() => chart.current?.setData(data), [history?.at.at(-1), Math.floor(nowUs / STEP_US)]);
  return html`
    <figure>
      <div class="chart" ref=${place} aria-hidden="true"></div>
      <figcaption class="small">Temperature of the last ten minutes; dashed, its warning and its
        limit.</figcaption>
    </figure>`;
}

function columns(joint, history, nowUs) {
  const at = history?.at ?? [];
  const s = [-SPAN_S, ...at.map((us) => (us - nowUs) / 1e6)];
  const flat = (value) => s.map(() => value ?? null);
  return [s, [null, ...(history?.value ?? [])], flat(joint.warning_c), flat(joint.limit_c)];
}

function options(width, joint) {
  const line = (k) => ({ stroke: STROKES[k], width: 1.5, dash: k ? [5, 4] : [], points: { show: false } });
  const axis = { stroke: "#4a5258", font: FONT, grid: { stroke: "#dfe2e3" }, ticks: { show: false } };
  return {
    width,
    height: HEIGHT,
    cursor: { show: false },
    legend: { show: false },
    scales: {
      x: { time: false, range: [-SPAN_S, 0] },
      y: { range: (_, low) => [Math.min(low ?? 15, 15), (joint.limit_c ?? 60) + 4] },
    },
    series: [{}, line(0), line(1), line(2)],
    axes: [
      { ...axis, size: 26, splits: () => [-600, -480, -360, -240, -120, 0],
        values: (_, all) => all.map((s) => (s === 0 ? "now" : `−${-s / 60} min`)) },
      { ...axis, size: 48, values: (_, all) => all.map((c) => `${c} °C`) },
    ],
  };
}
