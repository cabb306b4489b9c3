// Jog: two controls a joint, held or pressed step by step, and what they are set to.

import { html } from "htm/preact";
import { useEffect, useRef } from "preact/hooks";
import { angle, figure } from "./figures.js";
import { lagOf, SPEEDS, STEPS_DEG, TOO_LONG_MS } from "./hand.js";
import { isAltered, isKey } from "./keys.js";
import { Slider } from "./jogslider.js";
import { STICKS } from "./pad.js";
import { PadBar } from "./padbar.js";

/** Whether and how this page jogs: above the lanes. */
export function JogBar({ hand, joints, on, toggle }) {
  const step = (byDeg) => html`
    <button class="plain" aria-pressed=${hand.byDeg === byDeg} onClick=${() => hand.chooseStep(byDeg)}>
      ${byDeg === null ? "while held" : `${byDeg}° a press`}</button>`;
  return html`
    <section class="jogbar" aria-label="Jog">
      ${toggle && html`<button aria-expanded=${on} onClick=${toggle}>${on ? "Close jog" : "Jog…"}</button>`}
      ${on && html`
        <p role="group" aria-label="Speed"><span>speed</span> ${SPEEDS.map((speed) => html`
          <button class="plain" aria-pressed=${hand.speed === speed} onClick=${() => hand.choose(speed)}>${speed}</button>`)}</p>
        <p role="group" aria-label="How far"><span>turn</span> ${step(null)} ${STEPS_DEG.map(step)}</p>
        <p class="small">${lagWords(hand)} Keys: Tab to a joint's controls, then hold ← or →.</p>
        <${PadBar} pad=${hand.pad} names=${joints.map((joint) => joint.name)} />
        <p class="caution">Keep hands and hair out of the arm's reach.</p>`}
    </section>`;
}

function lagWords(hand) {
  const lag = lagOf(hand.lags);
  if (lag === null) return "Lag from hand to motion: not measured yet.";
  const presses = `${lag.count} press${lag.count > 1 ? "es" : ""}`;
  const told = `Lag from hand to motion: ${figure(lag.p50, 0, "ms")}, 95 % within ${figure(Math.ceil(lag.p95), 0, "ms")} (${presses}).`;
  if (lag.p95 <= TOO_LONG_MS) return told;
  const half = `Half of people notice a lag of ${figure(TOO_LONG_MS, 0, "ms")}.`;
  return html`${told} <strong>Too long for fine alignment while held.</strong> ${half} Turn by steps:
    ${" "}they end where they were asked to, whatever the lag.`;
}

/** In its place, while a program is there. */
export const NoJog = () => html`<p class="small">No jog while a program plays, is held or paused: Stop ends it first.</p>`;

/** A joint's two controls, and the angle that they turn. */
export function JogRow({ hand, joint, gone }) {
  const row = useRef(null);
  const name = joint.name;
  useEffect(() => holdByKeys(row.current, hand, name), [hand, name]);
  const off = gone || joint.link !== "up";
  useEffect(() => {
    if (off) hand.letGo(name); // nobody sees what it does
  });
  const stick = hand.pad.is === "used" ? STICKS[hand.pad.sticks?.indexOf(name)] : undefined;
  const side = (sign, word) => html`
    <button class="turn ${Math.sign(hand.held.get(name)) === sign ? "held" : ""}" aria-disabled=${off}
      aria-label=${`${name} to ${word} angles`} ...${pointers(hand, name, off ? 0 : sign)}>
      <span aria-hidden="true">${sign < 0 ? "◀ −" : "+ ▶"}</span></button>`;
  return html`
    <div class="jogrow ${hand.byDeg === null ? "pushed" : ""}" ref=${row} role="group" aria-label=${`Jog ${name}`}>
      ${side(-1, "smaller")}
      <output>${joint.homed ? html`<${Angles} hand=${hand} joint=${joint} />` : joint.wandered_deg == null
        ? "not homed: it turns slowly, and past the ends of its range" : "home wandered: it turns slowly; where it stands, and its range, may be off"}${
        stick && html` <small>${stick}</small>`}</output>
      ${side(1, "larger")}
      ${hand.byDeg === null && html`<${Slider} hand=${hand} name=${name} off=${off} />`}
    </div>`;
}

// Where it is, and by steps where they are to end.
function Angles({ hand, joint }) {
  const end = hand.ends.get(joint.name);
  if (hand.byDeg === null) return angle(joint.position_deg);
  return html`<span>asked ${angle(end?.deg)}</span> <span>is ${angle(joint.position_deg)}</span>`;
}

// A finger that leaves, a pointer that is taken away: whatever ends the press lets go. With sign 0 none begins.
function pointers(hand, name, sign) {
  const end = () => hand.letGo(name);
  return {
    onPointerDown: (event) => {
      if (event.button !== 0 || !sign) return;
      event.currentTarget.setPointerCapture(event.pointerId);
      hand.press(name, sign);
    },
    onPointerUp: end, onPointerCancel: end, onLostPointerCapture: end,
    onContextMenu: (event) => event.preventDefault(), // a long touch is a jog
  };
}

// While the focus is in a joint's row: ← and → turn it, and so do Space and Enter on a control.
function holdByKeys(row, hand, name) {
  let pressed = null;
  const signOf = (event) => {
    if (event.target.matches(".push")) return 0; // it has keys of its own
    if (isKey("smaller", event)) return -1;
    if (isKey("larger", event)) return 1;
    const at = [...row.querySelectorAll(".turn")].indexOf(event.target);
    return at >= 0 && isKey("turn", event) ? [-1, 1][at] : 0;
  };
  const down = (event) => {
    const sign = signOf(event);
    if (!sign || isAltered(event)) return;
    event.preventDefault();
    if (event.repeat || pressed !== null || row.querySelector(".turn[aria-disabled=true]")) return;
    pressed = event.key;
    hand.press(name, sign);
  };
  const up = (event) => {
    if (event.key !== pressed) return;
    event.preventDefault();
    leave();
  };
  const leave = () => {
    pressed = null;
    hand.letGo(name);
  };
  row.addEventListener("keydown", down);
  row.addEventListener("keyup", up);
  row.addEventListener("focusout", leave);
  return () => {
    leave();
    row.removeEventListener("keydown", down);
    row.removeEventListener("keyup", up);
    row.removeEventListener("focusout", leave);
  };
}
