// The band across every page: what the arm is about, in one word with its cause.

import { html } from "htm/preact";
import { closed, sentence } from "./api.js";
import { figure, listed, timeOfDay } from "./figures.js";
import { armSign, Shape } from "./signs.js";
import { GONE_MS } from "./state.js";

const PATIENCE_MS = 1000; // a stop takes a few exchanges; on a bad link some of them are lost

/** Since when each joint is seen not to have confirmed a stop, by local time `ms`. */
export function unconfirmed(before, arm, ms) {
  const names = arm?.condition?.unconfirmed ?? [];
  return new Map(names.map((name) => [name, before.get(name) ?? ms]));
}

/** Of those, who is so late that people must know. */
export const tooLate = (since, ms) =>
  new Set([...since.keys()].filter((name) => ms - since.get(name) >= PATIENCE_MS));

/** Word, joint and cause; above them a stop that did not reach a joint. */
export function Band({ model, gone, late, needsToken, nowUs, ms }) {
  const sign = armSign(model.arm, gone);
  return html`
    <section class="band" aria-label="The arm's condition">
      <div role="alert">${late.size > 0 && html`<${Alarm} names=${[...late]} />`}</div>
      <div class="sign ${sign.tone}" role="status">
        <p class="says"><${Shape} name=${sign.shape} size=${36} /> ${sign.word}<${Countdown} told=${sign.told} nowUs=${nowUs} /></p>
        <p class="cause">${gone || model.arm === null
          ? html`<${Unheard} model=${model} gone=${gone} needsToken=${needsToken} nowUs=${nowUs} ms=${ms} />`
          : html`<${Cause} told=${sign.told} late=${late} nowUs=${nowUs} />`}</p>
      </div>
    </section>`;
}

function Alarm({ names }) {
  return html`
    <div class="alarm">
      <p class="says"><${Shape} name="attention" size=${36} /> The stop has not reached ${listed(names)}</p>
      <p>${names.length > 1 ? "They" : "It"} may still move. Use the emergency stop that cuts the power.</p>
    </div>`;
}

// Not for the ear: it would be told ten times a second.
function Countdown({ told, nowUs }) {
  if (told?.word !== "starts" || told.at_us == null) return null;
  return html`<span aria-hidden="true">in ${figure(Math.max(0, told.at_us - nowUs) / 1e6, 1, "s")}</span>`;
}

function Cause({ told, late, nowUs }) {
  if (!told) return null;
  // What the alarm says is not said twice.
  const cause = late.size === 0 ? told.cause : "";
  if (told.rests_by_us == null) return cause;
  return `${cause && `${closed(cause)} `}${sentence(bySelf(told.rests_by_us, nowUs))}`;
}

function Unheard({ model, gone, needsToken, nowUs, ms }) {
  if (needsToken) return "This page needs a token to hear the coordinator.";
  if (!gone) return "Asking the coordinator for the arm.";
  const again = "This page goes on trying.";
  if (model.heardMs === null) return `Nothing was heard from the coordinator yet. ${again}`;
  const after = model.arm.rests_after_us;
  // The last drive may be as much later than the last message as it takes to miss one.
  const byUs = after == null ? null : nowUs - (ms - model.heardMs - GONE_MS) * 1000 + after;
  return html`<strong>This page does not hear the coordinator.</strong>${" "}
    <span aria-hidden="true">Nothing heard for ${figure((ms - model.heardMs) / 1000, 0, "s")}.</span>${" "}
    What is shown is old. If the coordinator ended then, the arm is
    ${" "}${byUs == null ? "at rest by its own rules soon; not confirmed" : bySelf(byUs, nowUs)}. If only this page's network is gone, the arm may still move. ${again}`;
}

// Rounded up: nothing is at rest before its time.
const bySelf = (atUs, nowUs) => `by its own rules at rest by ${
  timeOfDay(atUs + 999_999, nowUs)}; not confirmed`;
