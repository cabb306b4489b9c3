// History: what a joint was over hours or years, and what it has done in all.

import { html } from "htm/preact";
import { useEffect, useMemo, useRef, useState } from "preact/hooks";
import { get, Refusal } from "./api.js";
import { figure } from "./figures.js";
import { HistoryChart } from "./historychart.js";
import { HomeFigures } from "./homefigures.js";
import { isAltered, isKey } from "./keys.js";
import { dateTime } from "./report.js";
import { between, last, lengthOf, moved, SPANS, upTo, zoomed } from "./span.js";

const AGAIN_MS = 15_000; // what is new comes every ten seconds at the most
const MOST_POINTS = 600;
const LEAST_POINTS = 60;
const nowS = () => Math.floor(Date.now() / 1000);
const scaled = (column, by) => column.map((one) => (one == null ? null : one * by));
const spread = (name, by = 1) => (told) => [told[name].min, told[name].max, told[name].mean].map((one) => scaled(one, by));
const count = (name) => (told) => [told[name]];
// A sample counts in the stretch in which it ends, so one stretch may have a second of the one before.
const share = (name) => (told) =>
  [scaled(told[name], 100 / told.stretch_s).map((percent) => (percent == null ? percent : Math.min(100, percent)))];

// What is drawn: words, unit, columns, dashed lines, and how little the scale shows at least.
const KINDS = [
  { name: "Temperature", unit: "°C", decimals: 1, atLeast: 4, columns: spread("temperature_c"),
    limits: (told) => [told.temperature_warning_c, told.temperature_limit_c], dashed: "its warning and limit" },
  { name: "Supply", unit: "V", decimals: 2, atLeast: 1, columns: spread("supply_v"),
    limits: (told) => [told.supply_warning_v, told.supply_limit_v], dashed: "its warning and limit" },
  { name: "Round trip, 99th percentile", unit: "ms", decimals: 1, atLeast: 1, fromZero: true, columns: spread("rtt_p99_us", 1e-3) },
  { name: "Exchanges lost", unit: "%", decimals: 1, atLeast: 1, fromZero: true, columns: spread("loss", 100) },
  { name: "Clock uncertainty", unit: "ms", decimals: 2, atLeast: 0.5, fromZero: true, columns: spread("clock_uncertainty_us", 1e-3) },
  { name: "Hop to it, as fitted", unit: "Ω", decimals: 3, atLeast: 0.05, points: true, columns: (told) => [told.hop_ohm.mean] },
  { name: "Position error, as it reports it", unit: "°", decimals: 4, atLeast: 0.01, columns: spread("position_error_deg") },
  { name: "Heard, share of the time", unit: "%", decimals: 0, atLeast: 10, fromZero: true, share: true, columns: share("on_s") },
  { name: "Turning, share of the time", unit: "%", decimals: 1, atLeast: 1, fromZero: true, share: true, columns: share("moving_s") },
  { name: "Starts", unit: "", decimals: 0, atLeast: 1, fromZero: true, columns: count("starts") },
  { name: "Reversals", unit: "", decimals: 0, atLeast: 1, fromZero: true, columns: count("reversals") },
  { name: "Distance", unit: "°", decimals: 0, atLeast: 1, fromZero: true, columns: count("distance_deg") },
];

const HOME = { name: "Home, from where its reference found it", unit: "°", decimals: 3, atLeast: 0.01, points: true,
  columns: (told) => [told.since_deg], limits: (told) => [-told.limit_deg, told.limit_deg], dashed: "its limit" };

/** A joint, a stretch of time, and a chart for each quantity. */
export function History({ model, gone, act }) {
  const names = model.arm.joints.map((one) => one.name);
  const [chosen, setJoint] = useState(names[0]);
  const [span, setSpan] = useState(() => last(SPANS[0][1], nowS()));
  const [shown, setShown] = useState(null); // what was told, of which joint and time
  const [wear, setWear] = useState(null);
  const [homes, setHomes] = useState(null);
  const place = useRef(null);
  const asked = useRef(null); // the newest question
  const joint = names.includes(chosen) ? chosen : names[0];
  const load = async (about) => {
    const mine = asked.current = {};
    const points = Math.max(LEAST_POINTS, Math.min(MOST_POINTS, Math.floor(place.current.clientWidth / 2)));
    const found = await get(`${pathOf(joint, about)}&points=${points}`);
    if (asked.current === mine) setShown({ told: found, span: about });
  };
  const newest = useRef(joint);
  newest.current = joint;
  const loadWear = async () => {
    const done = await get(`/joints/${encodeURIComponent(joint)}/wear`);
    if (newest.current === joint) setWear(done);
  };
  const loadHomes = async () => {
    const found = await get(`/joints/${encodeURIComponent(joint)}/homings`);
    if (newest.current === joint) setHomes(found);
  };
  const isGone = useRef(gone);
  isGone.current = gone;
  useEffect(() => {
    act(() => Promise.all([load(span), wear?.joint !== joint && loadWear(), homes?.joint !== joint && loadHomes()]));
    if (!span.follows) return undefined;
    // Nobody asked for it: it wipes nothing that is said, and what fails is tried again.
    const look = () => Promise.all([load(upTo(span, nowS())), loadWear(), loadHomes()]).catch((error) => {
      if (!(error instanceof Refusal)) throw error;
    });
    const again = setInterval(() => document.visibilityState === "visible" && !isGone.current && look(), AGAIN_MS);
    return () => clearInterval(again);
  }, [joint, span]);
  const zoom = (from, to) => setSpan(between(from, to));
  const steps = {
    zoomIn: () => setSpan(zoomed(upTo(span, nowS()), 0.5)),
    zoomOut: () => setSpan(zoomed(upTo(span, nowS()), 2)),
    before: () => setSpan(moved(upTo(span, nowS()), -1, nowS())),
    after: () => setSpan(moved(upTo(span, nowS()), 1, nowS())),
  };
  const pressed = (event) => {
    const step = isAltered(event) ? undefined : stepOf(event);
    if (step === undefined) return;
    event.preventDefault();
    steps[step]();
  };
  const { told, span: seen } = shown ?? {};
  const homed = useMemo(() => (homes && homes.joint === told?.joint ? homesIn(homes, seen) : null), [homes, told, seen]);
  return html`
    <section class="card history" aria-label="History">
      <h2>History</h2>
      <div class="row">
        <label>Joint <select value=${joint} onChange=${({ target }) => setJoint(target.value)}>
          ${names.map((name) => html`<option key=${name} value=${name}>${name}</option>`)}</select></label>
        <span class="choice" role="group" aria-label="How long">${SPANS.map(([word, s]) => html`
          <button class="plain" key=${word} aria-pressed=${span.follows && lengthOf(span) === s}
            onClick=${() => setSpan(last(s, nowS()))}>last ${word}</button>`)}</span>
      </div>
      <div class="row" role="group" aria-label="Zoom">
        <button onClick=${steps.zoomIn}>Zoom in</button> <button onClick=${steps.zoomOut}>Zoom out</button>
        <button onClick=${steps.before}>Earlier</button>
        <button aria-disabled=${span.follows} onClick=${() => span.follows || steps.after()}>Later</button>
      </div>
      <p role="status">${shown ? `${told.joint} from ${dateTime(seen.from * 1000)} to ${dateTime(seen.to * 1000)}` : "Asking."}</p>
      <p class="small">Drag over a chart to zoom to that time; or, on the charts, + and − zoom, ← and → go earlier and later.
        A band is from the least to the greatest of what was read, the line is its mean.</p>
      <div class="charts" ref=${place} role="group" aria-label="Charts" tabindex="0" onKeyDown=${pressed}>
        ${told && (told.start_s.length === 0 ? html`<p>Nothing is known of ${told.joint} in that time.</p>`
          : KINDS.map((kind) => html`<${HistoryChart} key=${kind.name} kind=${kind} told=${told} span=${seen} zoom=${zoom} />`))}
        ${homed && html`<${HistoryChart} kind=${HOME} told=${homed} span=${seen} zoom=${zoom} />`}
      </div>
      ${told && html`<p><a href=${`/api/v1${pathOf(joint, seen)}&points=2000&format=csv`} download=${`${joint}-history.csv`}>The
        history of ${joint} in that time</a> as a table (CSV).</p>`}
      ${homes?.joint === joint && html`<${HomeFigures} homes=${homes} />`}
      ${wear?.joint === joint && html`<${Wear} wear=${wear} />`}
    </section>`;
}

// Where homings of that time found home; null for none.
function homesIn(homes, { from, to }) {
  const found = homes.homings.map((one) => ({ ...one, s: Date.parse(one.utc) / 1000 })).filter(({ s }) => s >= from && s <= to);
  if (found.length === 0) return null;
  return { start_s: found.map(({ s }) => s), stretch_s: 0, since_deg: found.map((one) => one.since_reference_deg), limit_deg: homes.shift_limit_deg };
}

const stepOf = (event) => {
  if (isKey("zoomIn", event)) return "zoomIn";
  if (isKey("zoomOut", event)) return "zoomOut";
  if (isKey("before", event)) return "before";
  return isKey("after", event) ? "after" : undefined;
};

const pathOf = (joint, { from, to }) => {
  const utc = (s) => encodeURIComponent(new Date(s * 1000).toISOString());
  return `/joints/${encodeURIComponent(joint)}/history?from=${utc(from)}&to=${utc(to)}`;
};

const lasting = (s) => s < 60 ? figure(s, 0, "s") : s < 3600 ? figure(s / 60, 1, "min") : figure(s / 3600, 1, "h");

function Wear({ wear }) {
  if (wear.since_utc === null) return html`<p>Nothing is recorded of ${wear.joint} yet.</p>`;
  return html`
    <h3>In all, by the hour, since ${dateTime(wear.since_utc)}</h3>
    <ul class="facts">
      <li>heard for ${lasting(wear.on_s)}, turned for ${lasting(wear.moving_s)}</li>
      <li>${wear.starts} starts, ${wear.reversals} reversals, ${figure(wear.distance_deg, 0, "°")}</li>
    </ul>`;
}
