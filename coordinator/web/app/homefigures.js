// How well a joint finds its home again: figures with their uncertainty, or why there are none; and home over temperature.

import { html } from "htm/preact";
import { useRef } from "preact/hooks";
import { figure } from "./figures.js";
import { axisOf, token, usePlot } from "./plot.js";

const HEIGHT = 180;
const AXIS = 56;
const EDGE = 26;
const MARGIN = 0.1;
const LEAST_DEG = 0.01;
const LEAST_C = 1;
const FIGURES = [
  ["rising edge, standard deviation", "rising_deviation_deg", "°"],
  ["falling edge, standard deviation", "falling_deviation_deg", "°"],
  ["hysteresis, with the joint's play", "hysteresis_deg", "°"],
  ["drift of home", "drift_deg_per_c", "°/°C"],
];

/** Below the charts of History; `homes` is what the coordinator tells of a joint's homings. */
export function HomeFigures({ homes }) {
  if (homes.homings.length === 0) return html`<h3>How well it finds its home</h3><p>No homing of ${homes.joint} is known.</p>`;
  const warm = homes.homings.filter((one) => one.level_deg != null && one.temperature_c != null);
  return html`
    <h3>How well it finds its home</h3>
    <ul class="facts">${FIGURES.map(([name, member, unit]) => html`<li key=${member}>${figureWords(name, homes[member], unit)}</li>`)}</ul>
    ${homes.wandered_deg != null && html`<p class="why">${homes.joint} does not count as homed: home was ${
      figure(homes.wandered_deg, 3, "°")} from its reference. Look at it, then accept its home on Watch.</p>`}
    ${warm.length > 1 && html`<${OverTemperature} warm=${warm} slope=${homes.drift_deg_per_c?.value ?? null} />`}`;
}

/** One figure in words. */
export function figureWords(name, told, unit) {
  if (told?.value == null || told.uncertainty == null) return `${name}: not told: ${told?.why ?? "the coordinator says nothing of it"}`;
  if (told.value === 0 && told.uncertainty === 0) {
    return `${name}: less than one count, by which edges are told, in ${told.homings} homings`;
  }
  return `${name}: ${exact(told.value)} ${unit}, standard uncertainty ${exact(told.uncertainty)} ${unit} from ${told.homings} homings`;
}

// Three figures that count, whatever their size.
const exact = (value) => Number(value.toPrecision(3)).toString().replace("-", "−");

/** From where to where, all of them and a margin. */
function spread(values, least) {
  const [low, high] = [Math.min(...values), Math.max(...values)];
  const margin = Math.max(least / 2, (high - low) * MARGIN);
  return [low - margin, high + margin];
}

/** By rising temperature: x, home, and the line of the drift where there is one. */
export function drawn(warm, slope) {
  const sorted = [...warm].sort((a, b) => a.temperature_c - b.temperature_c);
  const x = sorted.map((one) => one.temperature_c);
  const middle = x.reduce((sum, one) => sum + one, 0) / x.length;
  const line = slope === null ? [] : [x.map((at) => slope * (at - middle))];
  return [x, sorted.map((one) => one.level_deg), ...line];
}

function OverTemperature({ warm, slope }) {
  const place = useRef(null);
  const pointed = useRef(null);
  const data = drawn(warm, slope);
  usePlot(place, [warm.map((one) => `${one.homing} ${one.level_deg}`).join(), slope], () => {
    const ink = token("--ink");
    const at = (chart) => {
      const k = chart.cursor.idx;
      pointed.current.textContent = k == null ? "" : `${figure(data[0][k], 1, "°C")}: ${figure(data[1][k], 4, "°")}`;
    };
    const points = { stroke: "transparent", points: { show: true, size: 6, stroke: ink, fill: ink } };
    const drift = { stroke: token("--soft"), width: 1.5, dash: [5, 4], points: { show: false } };
    const options = {
      height: HEIGHT,
      padding: [8, EDGE, 0, 0],
      cursor: { y: false, drag: { x: false, y: false }, points: { size: 6 } },
      hooks: { setCursor: [at] },
      legend: { show: false },
      scales: { x: { time: false, range: spread(data[0], LEAST_C) }, y: { range: spread(data.slice(1).flat(), LEAST_DEG) } },
      series: [{}, points, ...(slope === null ? [] : [drift])],
      axes: [
        axisOf({ size: 22, values: (_, all) => all.map((one) => figure(one, one % 1 ? 1 : 0, "°C")) }),
        axisOf({ size: AXIS, values: (_, all) => all.map((one) => figure(one, 3, "")) }),
      ],
    };
    return { options, data };
  });
  const [low, high] = [Math.min(...data[1]), Math.max(...data[1])];
  return html`
    <figure class="curve">
      <figcaption class="small"><strong>Home over temperature</strong> ${warm.length} homings, ${figure(data[0][0], 1, "°C")} to ${
        figure(data[0].at(-1), 1, "°C")} at the driver: ${figure(low, 3, "°")} to ${figure(high, 3, "°")} from the level of their
        reference${slope === null ? "; no drift is told" : "; dashed, the drift"} <span ref=${pointed}></span></figcaption>
      <div ref=${place} aria-hidden="true"></div>
    </figure>`;
}
