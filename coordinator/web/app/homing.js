// Homing joint by joint: which way each will turn, how far at most, and what it may run into.
//
// No kinematics are known, so nothing here says that a way is free.

import { html } from "htm/preact";
import { post } from "./api.js";
import { figure } from "./figures.js";
import { HoldTo } from "./goto.js";
import { Press } from "./press.js";

const UNSTATED = "What it may run into is not stated in the arm file (may_collide): anything within its reach, other parts of this"
  + " arm and its cables among it.";

const waysOf = (arm) => arm.homing_ways ?? []; // an older coordinator tells none

/** Whether nobody knows where some joint stands: then each is let go by itself. */
export const isBlind = (arm) => waysOf(arm).some((way) => !way.angle_known);

/** Whether joints are homed one by one. */
export const oneByOne = (arm) => waysOf(arm).length > 0 && (arm.homing_while_held === true || isBlind(arm));

const brief = (value, unit) => figure(value, value % 1 ? 1 : 0, unit);

/** How a joint would turn, in sentences. */
export function wayWords(way) {
  const other = way.searches === "larger" ? "smaller" : "larger";
  const first = way.on_sensor
    ? `It stands on its home sensor, so it first turns towards ${other} angles, off it and ${brief(way.backoff_deg, "°")} further`
    : `It may first turn back towards ${other} angles, to where it met its home sensor last`;
  return `Turns towards ${way.searches} angles, at up to ${brief(way.speed_deg_s, "°/s")} and by at most ${
    brief(way.travel_deg, "°")} from where it stands. ${first}, by at most as much.${way.angle_known ? "" : " Where it stands is not known."}`;
}

/** Joints in the order of homing, each with its own control. `going`: what is held. */
export function Homing({ arm, gone, act, going }) {
  const runs = arm.phase === "homing" ? arm.homing : null;
  const held = arm.homing_while_held === true;
  return html`
    <section class="card homing" aria-label="Homing">
      <h2>Home joint by joint</h2>
      <p class="caution">Nothing here knows what stands in a joint's way: look before each. Keep hands, hair and sleeves out of its
        reach: joints pinch.${held && " A joint moves only while its control is held."}</p>
      <ol class="ways">${waysOf(arm).map((way) => html`
        <${Joint} key=${way.joint} way=${way} runs=${runs} held=${held} gone=${gone} act=${act} going=${going} />`)}</ol>
    </section>`;
}

function Joint({ way, runs, held, gone, act, going }) {
  const name = way.joint;
  const turns = runs?.current === name;
  const word = turns ? "homing" : way.angle_known ? "homed" : "angle not known";
  return html`
    <li class=${way.angle_known ? "" : "blind"}>
      <p class="what"><strong>${name}</strong> <span class="small">${word}</span></p>
      <p class="small">${wayWords(way)}${" "}${way.may_collide
        ? html`<strong>It may run into ${way.may_collide}.</strong>` : html`<em>${UNSTATED}</em>`}</p>
      ${held
        ? html`<${HoldTo} going=${going} place=${{ type: "home", joint: name }} off=${gone || (runs !== null && !turns)}>Hold to home ${name}<//>`
        : html`<${Press} name=${way.angle_known ? "" : "main"} off=${gone || runs !== null}
            press=${() => act(() => post("/home", { joints: [name] }))}>Home ${name}<//>`}
    </li>`;
}
