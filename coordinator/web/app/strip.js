// The strips: one time axis through all lanes, past to the left of now and future to the right.
//
// Each lane has a canvas. All are drawn in one go: at every frame while something moves, else only
// when the feed says something.

import { html } from "htm/preact";
import { useEffect, useRef } from "preact/hooks";
import { aheadS, armNow, isBusy, isGone } from "./state.js";

export const PAST_S = 10;
export const FUTURE_S = 3;
const NOW_AT = 0.66; // of the width; the future has the larger scale, since margin is seen there
const FRAME_MS = 30;
const INK = "#1e2326";
const SOFT = "#4a5258";
const GRID = "#dfe2e3";
const AHEAD = "#e4eaeb";
const PERMIT = "#5c7a84";
const BUFFER = "#b9c6ca";
const BUFFER_EDGE = "#6b787d";
const OLD = "#7d8488";

const lanes = new Map(); // canvas -> {name, low, high}
const calm = matchMedia("(prefers-reduced-motion: reduce)");
const resized = new ResizeObserver(() => draw());
let model = null;
let frame = null;
let drawnMs = 0;

/** Where on the axis, 0 to 1, lies what is so many seconds from now; below 0 what is older. */
export const place = (s) => (s <= 0
  ? NOW_AT * (1 + s / PAST_S)
  : NOW_AT + (1 - NOW_AT) * (Math.min(s, FUTURE_S) / FUTURE_S));

/** The canvas of one joint. What it shows is said in words elsewhere in the lane and in the bar. */
export function Strip({ joint }) {
  const canvas = useRef(null);
  useEffect(() => {
    const element = canvas.current;
    lanes.set(element, { name: joint.name, low: null, high: null });
    resized.observe(element);
    return () => {
      lanes.delete(element);
      resized.unobserve(element);
    };
  }, [joint.name]);
  return html`<div class="strip"><canvas ref=${canvas} aria-hidden="true"></canvas></div>`;
}

/** Show a new model, and go on by oneself while something moves. */
export function show(next) {
  model = next;
  if (frame !== null) return;
  if (isBusy(model.arm) && !calm.matches && !isGone(model, performance.now())) {
    frame = requestAnimationFrame(step);
  } else {
    draw();
  }
}

function step(ms) {
  frame = null;
  if (ms - drawnMs >= FRAME_MS) {
    drawnMs = ms;
    draw();
  }
  if (lanes.size && isBusy(model.arm) && !isGone(model, performance.now())) {
    frame = requestAnimationFrame(step);
  }
}

function draw() {
  if (model?.arm == null) return;
  // Once the coordinator is not heard, the strip stands still where it was heard last.
  const ms = performance.now();
  const nowUs = armNow(model, isGone(model, ms) ? model.heardMs : ms);
  const joints = new Map(model.arm.joints.map((joint) => [joint.name, joint]));
  for (const [canvas, lane] of lanes) {
    const joint = joints.get(lane.name);
    if (joint && canvas.clientWidth) paint(canvas, lane, joint, nowUs, isGone(model, ms));
  }
}

function paint(canvas, lane, joint, nowUs, gone) {
  const [width, height] = [canvas.clientWidth, canvas.clientHeight];
  const scale = window.devicePixelRatio || 1;
  if (canvas.width !== Math.round(width * scale) || canvas.height !== Math.round(height * scale)) {
    canvas.width = Math.round(width * scale);
    canvas.height = Math.round(height * scale);
  }
  const pen = canvas.getContext("2d");
  pen.setTransform(scale, 0, 0, scale, 0, 0);
  pen.clearRect(0, 0, width, height);
  const x = (s) => place(s) * width;
  background(pen, x, width, height);
  const past = pastOf(joint, nowUs);
  const preview = aheadOf(joint, nowUs);
  fit(lane, [...past, ...preview]);
  const y = (deg) => 10 + (height - 34) * (1 - (deg - lane.low) / (lane.high - lane.low));
  const run = model.arm.run;
  startLine(pen, x, height, model.start, nowUs);
  pen.lineWidth = 1.6;
  pen.setLineDash([]);
  pen.strokeStyle = gone ? OLD : INK;
  curve(pen, past, x, y);
  pen.setLineDash([4, 3]);
  pen.strokeStyle = gone ? OLD : SOFT;
  curve(pen, preview, x, y);
  pen.setLineDash([]);
  if (!gone) margin(pen, x, height, joint, run);
  pen.fillStyle = gone ? OLD : INK;
  pen.fillRect(x(0) - 1, 0, 2, height);
}

function background(pen, x, width, height) {
  pen.fillStyle = AHEAD;
  pen.fillRect(x(0), 0, width - x(0), height);
  pen.fillStyle = GRID;
  for (let s = -PAST_S; s <= FUTURE_S; s += 1) pen.fillRect(Math.round(x(s)), 0, 1, height);
}

/** Points [s from now, degrees or null] of where the joint was. */
function pastOf(joint, nowUs) {
  const line = model.tracks[joint.name];
  if (!line) return [];
  const points = [];
  line.at.forEach((at, k) => {
    const s = (at - nowUs) / 1e6;
    if (s >= -PAST_S - 0.5 && s <= 0) points.push([s, line.value[k]]);
  });
  return points;
}

function aheadOf(joint, nowUs) {
  const preview = model.arm.preview;
  const planned = preview?.deg?.[joint.name];
  if (!planned) return [];
  const points = planned.map((deg, k) => [(preview.at_us + k * preview.step_us - nowUs) / 1e6, deg]);
  const first = points.findIndex(([s]) => s >= 0);
  if (first < 0) return [];
  if (first === 0) return points;
  const [[before, from], [after, to]] = [points[first - 1], points[first]];
  const share = -before / (after - before);
  const atNow = from == null || to == null ? null : from + (to - from) * share;
  return [[0, atNow], ...points.slice(first)];
}

// To the lane's own scale, at least 20° of it. It grows at once and shrinks slowly.
function fit(lane, points) {
  const known = points.map(([, deg]) => deg).filter((deg) => deg != null);
  const top = known.length ? Math.max(...known) : 10;
  const bottom = known.length ? Math.min(...known) : -10;
  const spare = Math.max(0, 20 - (top - bottom)) / 2;
  const [low, high] = [bottom - spare, top + spare];
  const ease = lane.low === null || calm.matches ? 1 : 0.15;
  lane.low = lane.low === null ? low : Math.min(low, lane.low + (low - lane.low) * ease);
  lane.high = lane.high === null ? high : Math.max(high, lane.high + (high - lane.high) * ease);
}

function curve(pen, points, x, y) {
  pen.beginPath();
  let down = false;
  let before = -Infinity;
  for (const [s, deg] of points) {
    const broken = s - before > 1; // it was silent
    before = s;
    if (deg == null) {
      down = false;
    } else if (down && !broken) {
      pen.lineTo(x(s), y(deg));
    } else {
      pen.moveTo(x(s), y(deg));
      down = true;
    }
  }
  pen.stroke();
}

// Where all start or started: a line through every lane.
function startLine(pen, x, height, start, nowUs) {
  if (!start) return;
  const s = (start.at_us - nowUs) / 1e6;
  if (s < -PAST_S || s > FUTURE_S) return;
  pen.fillStyle = SOFT;
  pen.fillRect(Math.round(x(s)) - 1, 0, 2, height);
  pen.beginPath();
  pen.arc(x(s), 5, 3.5, 0, 2 * Math.PI);
  pen.fill();
}

// How long its points last, and how far it may move by its permit.
function margin(pen, x, height, joint, run) {
  const top = height - 13;
  const buffered = aheadS(run, joint.buffered_us);
  if (buffered !== null && buffered > 0) {
    pen.fillStyle = BUFFER;
    pen.fillRect(x(0), top, x(buffered) - x(0), 8);
    pen.strokeStyle = BUFFER_EDGE;
    pen.lineWidth = 1;
    pen.strokeRect(x(0) + 0.5, top + 0.5, x(buffered) - x(0) - 1, 7);
  }
  const permit = aheadS(run, joint.permit_us);
  if (permit !== null && permit > 0) {
    pen.fillStyle = PERMIT;
    pen.fillRect(x(0), top, x(permit) - x(0), 8);
    pen.fillRect(x(permit) - 1, top - 5, 2, 18);
  }
}
