// A gamepad at the hand: two sticks that turn two joints while one of its front buttons is held.

import { SPEEDS } from "./hand.js";
import { barred, pairFrom, read, untouched } from "./pad.js";

const EVERY_MS = 20;
const REFUSED = "This gamepad is not used: its sticks and buttons are not in the standard order, so "
  + "which one lets the arm move is not known.";

/**
 * `names()` are the arm's joints; `may()` says whether this page may jog now; `changed()` is called where
 * what is to be seen is different, `record()` for the button that records where the arm stands.
 */
export function makePad({ hand, names, may, changed, record }) {
  const pad = { is: "none", sticks: null, enabled: false, waits: false };
  let state = untouched();
  let timer = null;
  let moves = new Set(); // joints that the sticks push
  let index = null; // of the gamepad that is used
  let shown = "";

  /** Look at the gamepads from now on, or no more. */
  pad.watch = (on) => {
    clearInterval(timer);
    timer = on ? setInterval(look, EVERY_MS) : null;
    look();
  };

  /** Which joint a stick (0 or 1) turns, `null` for none. The other stick gives it up. */
  pad.choose = (stick, name) => {
    letGo();
    pad.sticks = pad.sticks.map((had, k) => (k === stick ? name : had === name ? null : had));
    show();
  };

  /** The next pair of joints (1), or the one before (−1). */
  pad.pair = (by) => {
    letGo();
    pad.sticks = pairFrom(names(), pad.sticks, by);
    show();
  };

  const asks = {
    next: () => pad.pair(1),
    previous: () => pad.pair(-1),
    faster: () => speed(1),
    slower: () => speed(-1),
    record,
  };

  function speed(by) {
    letGo();
    const wanted = SPEEDS[SPEEDS.indexOf(hand.speed) + by];
    if (wanted) hand.choose(wanted);
  }

  // Its enabling button must be let go before the pad moves anything again.
  function letGo() {
    for (const name of moves) hand.letGo(name);
    moves = new Set();
    state = barred(state);
    pad.enabled = pad.waits = false;
  }

  function look() {
    const pads = [...(navigator.getGamepads?.() ?? [])].filter((one) => one?.connected);
    const used = pads.find((one) => one.mapping === "standard");
    pad.is = used ? "used" : pads.length ? "refused" : "none";
    pad.sticks ??= names().length ? pairFrom(names(), [null, null], 0) : null;
    if (used?.index !== index || !used || !pad.sticks || !may()) letGo();
    // Whatever else let a joint go that a stick pushes (the tab, a refusal, another control) bars it.
    else if ([...moves].some((name) => !hand.held.has(name))) letGo();
    else obey(read(state, used));
    index = used?.index ?? null;
    show();
  }

  function obey({ state: now, shares, flicks, asks: asked, waits }) {
    state = now;
    pad.enabled = now.enabled;
    pad.waits = waits;
    pad.sticks.forEach((name, k) => {
      if (name === null) return;
      if (hand.byDeg !== null) {
        if (flicks[k]) hand.press(name, flicks[k]);
      } else if (shares[k]) {
        moves.add(name);
        hand.push(name, shares[k]);
      } else if (moves.delete(name)) {
        hand.letGo(name);
      }
    });
    for (const ask of asked) asks[ask]();
  }

  function show() {
    const seen = JSON.stringify([pad.is, pad.sticks, pad.enabled, pad.waits]);
    if (seen === shown) return;
    shown = seen;
    changed();
  }

  /** What is to be said of a gamepad that is there and not used; empty where there is nothing. */
  pad.refusal = () => (pad.is === "refused" ? REFUSED : "");

  // One that comes back before the next look is another one all the same.
  addEventListener("gamepaddisconnected", () => {
    letGo();
    show();
  });
  return pad;
}
