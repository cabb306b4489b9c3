// Under the curves, on their time axis: which line is played, and what happens; the same in words.

import { html } from "htm/preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { figure } from "./figures.js";

const HEIGHT = 58;
const [LINES, RESTS, ENDS] = [11, 31, 49]; // middles of the three rows
const MOST_TOLD = 100;
const DIGIT = 7; // width of a character

const oval = "m-3 0a3 3 0 1 0 6 0a3 3 0 1 0 -6 0z";
const onOff = (mark) => `${mark.name} ${mark.on ? "on" : "off"}`;

// By kind, and of an output by what it is switched to: row, shape around its middle, words.
const SHAPES = {
  dwell: { y: RESTS, shape: "m-7 -2h14v4h-14z", one: "a dwell", many: "dwells",
    told: (mark) => `dwells for ${figure(mark.end_s - mark.begin_s, 2, "s")}` },
  pause: { y: RESTS, shape: "m-4 -6h3v12h-3zm5 0h3v12h-3z", one: "a pause", many: "pauses",
    told: () => "pauses until it is resumed" },
  wait: { y: RESTS, shape: "m-4 -5h8l-8 10h8z", open: true, one: "a wait for an input", many: "waits for an input",
    told: (mark) => `waits for ${mark.name} to be ${mark.on ? "on" : "off"}` },
  passed: { y: ENDS, shape: oval, open: true, one: "an end that is passed without a stop", many: "ends that are passed without a stop",
    told: () => "its end is passed without a stop" },
  on: { y: ENDS, shape: "m-5 4h10l-5 -9z", one: "an output switched on", many: "outputs switched on", told: onOff },
  off: { y: ENDS, shape: "m-5 -4h10l-5 9z", open: true, one: "an output switched off", many: "outputs switched off", told: onOff },
};
const manyOf = (kind) => SHAPES[kind]?.many ?? `${kind}s`; // of outputs on and off together
const shapeOf = (mark) => (mark.kind === "output" ? (mark.on ? "on" : "off") : mark.kind);

/** The strip of lines and marks, what its shapes mean, and all of it as text. */
export function CurveMarks({ curves }) {
  const place = useRef(null);
  const [width, setWidth] = useState(0);
  useEffect(() => {
    const fit = () => setWidth(place.current.clientWidth);
    fit();
    addEventListener("resize", fit);
    return () => removeEventListener("resize", fit);
  }, []);
  // As the charts above: from 0 to where their last stretch begins.
  const end = curves.time_s.at(-1) || 1;
  const x = (time) => Math.min(1, time / end) * width;
  const groups = Object.keys(SHAPES)
    .map((name) => [name, curves.marks.filter((mark) => shapeOf(mark) === name)])
    .filter(([, marks]) => marks.length > 0);
  const more = Object.entries(curves.more_marks);
  return html`
    <div class="curvestrip"><div ref=${place}>
      <svg width=${width} height=${HEIGHT} aria-hidden="true">
        <${Lines} curves=${curves} x=${x} width=${width} />
        ${groups.map(([name, marks]) => html`<path key=${name} class=${SHAPES[name].open ? "open" : "full"}
          d=${marks.map((mark) => drawn(name, mark, x)).join("")} />`)}
      </svg>
    </div></div>
    <ul class="small shapes" aria-label="Marks">
      ${groups.map(([name, marks]) => html`<li key=${name}>
        <svg width="16" height="16" viewBox="-8 -8 16 16" aria-hidden="true"><path class=${SHAPES[name].open ? "open" : "full"}
          d=${`M0 0${SHAPES[name].shape}`} /></svg> ${counted(name, marks.length)}</li>`)}
      ${more.map(([kind, count]) => html`<li key=${kind}>not drawn: ${count} more ${manyOf(kind)}, after these</li>`)}
    </ul>
    ${groups.length > 0 && html`<details class="small"><summary>Marks in words${
      curves.marks.length > MOST_TOLD ? `, the first ${MOST_TOLD}` : ""}</summary>
      <ol>${curves.marks.slice(0, MOST_TOLD).map((mark, k) => html`<li key=${k}>${
        figure(mark.begin_s, 2, "s")}, line ${mark.line}: ${SHAPES[shapeOf(mark)]?.told(mark) ?? mark.kind}</li>`)}</ol></details>`}`;
}

const counted = (name, count) => (count === 1 ? SHAPES[name].one : `${count} ${SHAPES[name].many}`);

// A dwell is as long as it takes, never so short that it is not seen, and thinner than a pause at its end.
function drawn(name, mark, x) {
  const at = `M${x(mark.begin_s).toFixed(1)} ${SHAPES[name].y}`;
  if (name !== "dwell") return at + SHAPES[name].shape;
  const wide = Math.max(2, x(mark.end_s) - x(mark.begin_s)).toFixed(1);
  return `${at}m0 -2h${wide}v4h-${wide}z`;
}

// A tick where another line is played, with its number where there is room, and else below the numbers.
function Lines({ curves, x, width }) {
  let free = 0;
  const begun = curves.lines.flatMap((line, k) => (line === curves.lines[k - 1] ? [] : [[line, x(curves.time_s[k])]]));
  const numbers = begun.filter(([line, at]) => {
    const after = at + 4 + DIGIT * String(line).length;
    if (at < free || after > width) return false;
    free = after + 2;
    return true;
  });
  return html`
    <path class="tick" d=${begun.map((one) => (numbers.includes(one)
      ? `M${one[1].toFixed(1)} ${LINES - 9}v18` : `M${one[1].toFixed(1)} ${LINES + 6}v3`)).join("")} />
    ${numbers.map(([line, at]) => html`<text key=${at} x=${at + 3} y=${LINES + 4}>${line}</text>`)}`;
}
