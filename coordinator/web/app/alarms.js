// Alarms: what stands, what is over and nobody has acknowledged, what is shelved, and a flood.

import { html } from "htm/preact";
import { useState } from "preact/hooks";
import { closed, post, sentence } from "./api.js";
import { timeOfDay } from "./figures.js";
import { dateTime } from "./report.js";
import { Shape } from "./signs.js";

// A shape for each priority, beside its word. What is of an older coordinator has a level alone.
const SHAPES = { high: "urgent", medium: "attention", low: "notice" };
const DAY_US = 86_400e6;
const FOR_S = [["10 min", 600], ["1 h", 3600], ["8 h", 28800]];

/** How soon somebody must act. */
export const priority = (one) => one.priority ?? (one.level === "danger" ? "high" : "medium");
export const isUnseen = (one) => (one.state ?? (one.acknowledged ? "acknowledged" : "unacknowledged")) === "unacknowledged";
const shapeOf = (one) => SHAPES[priority(one)] ?? "attention";
const none = { returned: [], shelved: [], flood: null };
export const alarmsOf = (arm) => arm.alarms ?? none;

/** What nobody has seen yet, in short, for where people look first; and how many are shelved. */
export function Unseen({ arm }) {
  const { returned, shelved, flood } = alarmsOf(arm);
  const unseen = (arm.warnings ?? []).filter(isUnseen);
  return (flood || unseen.length > 0 || returned.length > 0 || shelved.length > 0) && html`
    <ul class="unseen-warnings">
      ${flood && html`<li class="attention"><${Shape} name="urgent" /> ${floodWords(flood)}</li>`}
      ${unseen.map((one) => html`
        <li key=${one.id} class=${one.level}><${Shape} name=${shapeOf(one)} /> ${closed(one.message)}</li>`)}
      ${returned.length > 0 && html`
        <li>${count(returned, "alarm is", "alarms are")} over, and acknowledged by nobody: see What happened.</li>`}
      ${shelved.length > 0 && html`
        <li class="attention"><${Shape} name="shelf" /> ${count(shelved, "alarm is", "alarms are")} shelved, without a sign.</li>`}
    </ul>`;
}

/** All of them, with why, what comes of it, what to do, and what may be said of each. */
export function Alarms({ arm, nowUs, act }) {
  const { returned, shelved, flood } = alarmsOf(arm);
  const items = (found) => html`<ul>${found.map((one) => html`
    <${Alarm} key=${one.id} one=${one} nowUs=${nowUs} act=${act} />`)}</ul>`;
  return html`
    <div role="status">
      ${flood && html`<p class="flood"><${Shape} name="urgent" /> <strong>${floodWords(flood)}</strong></p>`}
      ${flood ? grouped(arm.warnings ?? [], flood).map(([origin, found]) => html`
        <p key=${origin} class="group">${sentence(origin).slice(0, -1)}: ${found.length}</p>${items(found)}`)
        : items(arm.warnings ?? [])}
    </div>
    ${returned.length > 0 && html`
      <p class="group">Over, and acknowledged by nobody</p>
      ${items(returned)}`}
    ${shelved.length > 0 && html`
      <p class="group">${count(shelved, "alarm is", "alarms are")} shelved, without a sign</p>
      <ul>${shelved.map((one) => html`<${Shelved} key=${one.id} one=${one} nowUs=${nowUs} act=${act} />`)}</ul>`}`;
}

const count = (found, one, more) => `${found.length} ${found.length === 1 ? one : more}`;

function floodWords(flood) {
  const origins = Object.entries(flood.by_origin).map(([origin, many]) => `${many} of ${origin}`).join(", ");
  return `A flood of alarms: ${flood.count} began within ten minutes (${origins}). Look first at what came first.`;
}

/** Those of one origin together, where most come from first; none is left out. */
export function grouped(warnings, flood) {
  const groups = new Map(Object.keys(flood.by_origin).map((origin) => [origin, []]));
  for (const one of warnings) {
    const origin = one.origin ?? "other";
    if (!groups.has(origin)) groups.set(origin, []);
    groups.get(origin).push(one);
  }
  return [...groups].filter(([, found]) => found.length > 0);
}

// What was on another day must not look like today's.
const began = (one, nowUs) => one.since_utc && nowUs - one.since_us > DAY_US / 2 ? dateTime(one.since_utc)
  : timeOfDay(one.since_us, nowUs);

function Alarm({ one, nowUs, act }) {
  const [choosing, setChoosing] = useState(false);
  const shelve = (s) => act(() => post(`/warnings/${one.id}/shelve`, { for_s: s })).then(() => setChoosing(false));
  const stands = one.state !== "returned";
  const what = `${one.code} of ${one.joint}`; // many of these buttons stand beside one another
  return html`
    <li class=${stands ? one.level : ""}>
      <time>${began(one, nowUs)}</time>
      <p><${Shape} name=${shapeOf(one)} /> <strong>${closed(one.message)}</strong> ${stands && sentence(one.advice ?? "")}${" "}
        <span class="why">${sentence(`${priority(one)} priority`)}${
          one.first_out && " It was the first of those that came together, or among the first."}${
          one.cause && ` Likely cause: ${closed(one.cause)} If nobody acts: ${closed(one.consequence)}`}</span>
        ${isUnseen(one) || !stands
          ? html` <button class="plain" aria-label="Acknowledge ${what}"
            onClick=${() => act(() => post(`/warnings/${one.id}/acknowledge`))}>Acknowledge</button>`
          : html` <span class="small">${one.state ?? "acknowledged"}</span>`}
        ${stands && one.priority && one.priority !== "high" && one.state !== "shelved" && html`
          ${" "}<button class="plain" aria-expanded=${choosing} aria-label="Shelve… ${what}" onClick=${() => setChoosing(!choosing)}>Shelve…</button>`}
        ${choosing && html`<span class="shelving" role="group" aria-label="Shelve ${what}"> Without a sign for${" "}
          ${FOR_S.map(([words, s]) => html`<button key=${s} class="plain" onClick=${() => shelve(s)}>${words}</button>`)}</span>`}
        ${one.code === "home-wandered" && html` <button class="plain"
          onClick=${() => act(() => post(`/joints/${encodeURIComponent(one.joint)}/home/accept`))}>Accept the home of ${one.joint}</button>`}</p>
    </li>`;
}

function Shelved({ one, nowUs, act }) {
  return html`
    <li class=${one.stands ? "attention" : ""}>
      <time>until ${timeOfDay(one.until_us, nowUs)}</time>
      <p><${Shape} name="shelf" /> ${one.code} of ${one.joint}, by ${one.who}: it is ${one.stands ? "so" : "not so now"}.
        ${" "}<button class="plain" aria-label="Take off the shelf: ${one.code} of ${one.joint}"
          onClick=${() => act(() => post(`/warnings/${one.id}/unshelve`))}>Take off the shelf</button></p>
    </li>`;
}
