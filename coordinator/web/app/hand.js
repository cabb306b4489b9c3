// What this page's hand wishes: said on the feed while a control is held, and once when it is let go.
//
// The coordinator ends a jog that is not said again, so whatever silences this page ends it.

import { angle } from "./figures.js";
import { makeSaying } from "./saying.js";

const KEPT = 50; // lags
// From hand to motion: half of people notice a longer lag. Thresholds of 34 to 137 ms, median 54 ms (V. Forch
// et al., Are 100 ms Fast Enough?, 2017, doi 10.1007/978-3-319-58475-1_4).
export const TOO_LONG_MS = 54;
const AT_END_DEG = 0.02; // as near to its end as what is told of a joint says
const UNSENT = "What the hand wished was not sent: what it said before is still on its way, or the coordinator is not heard.";
const REFUSED = {
  "wish-old": "It was too long on its way, and moved nothing. Press anew",
  "rate": "What was held is let go, and what was pressed since moved nothing. Press less often",
};
const STOOD_US = 1e6; // so long after its last step a joint that rests is taken to stand where it is
export const STEPS_DEG = [0.01, 0.1, 1, 10];
export const SPEEDS = ["fine", "normal", "fast"];

/**
 * `feed.wish(message)` sends, false where nothing can be sent; `armUs()` is arm time now; `joint(name)`
 * what is known of a joint; `changed()` is called after every change, `say(sentence)` tells people.
 */
export function makeHand({ feed, armUs, joint, changed, say }) {
  const hand = {
    speed: "normal", teaching: false, byDeg: null, held: new Map(), lags: [], ends: new Map(),
  };
  const saying = makeSaying({ say: tell, letGo: () => letGo() });
  let begun = null; // { name, atUs } of a press whose motion has not been seen yet
  const noticed = new Set(); // joints of which it was told why they do not turn

  function speedOf(name) {
    const speeds = joint(name).jog_speeds_deg_s;
    return hand.teaching ? Math.min(speeds[hand.speed], speeds.teaching) : speeds[hand.speed];
  }

  function tell() {
    if (hand.held.size && !feed.wish({ type: "jog", at_us: armUs(), velocities_deg_s: held() })) {
      letGo();
      say(UNSENT);
    }
  }

  /** A control of a joint is pressed, towards larger (1) or smaller angles (−1). */
  hand.press = (name, sign) => {
    const atUs = armUs();
    begun = { name, atUs };
    if (hand.byDeg !== null) {
      const wish = { type: "step", at_us: atUs, joint: name, by_deg: sign * hand.byDeg, speed_deg_s: speedOf(name) };
      noticed.delete(name);
      if (feed.wish(wish)) ends(name, wish.by_deg, atUs);
      else say(UNSENT);
      notice(name, sign);
      changed();
      return;
    }
    hand.held.set(name, sign);
    saying.begin();
    noticed.delete(name);
    notice(name, sign);
    changed();
  };

  // Why a joint does not turn that way, told once for each press.
  function notice(name, sign) {
    const why = noticed.has(name) ? null : obstacle(joint(name), sign);
    if (why === null) return;
    noticed.add(name);
    say(why);
  }

  /** A joint is pushed at a share of the chosen speed, −1 to 1 without 0, until it is let go. */
  hand.push = (name, share) => {
    if (hand.byDeg !== null) return; // a push is no step
    if (!hand.held.has(name)) hand.press(name, share);
    else hand.held.set(name, share); // told in time, as it is said again
  };

  /** Let go of a joint's control, of all for none named. */
  hand.letGo = (name) => {
    if (name === undefined ? hand.held.size : hand.held.has(name)) letGo(name);
  };

  // Where the steps of a joint end, as they were asked for here; not known of one that is not homed.
  function ends(name, byDeg, atUs) {
    const { homed, position_deg: deg, state } = joint(name);
    const before = hand.ends.get(name);
    const goesOn = before && (atUs - before.atUs < STOOD_US || state === "jogging");
    if (homed) hand.ends.set(name, { deg: (goesOn ? before.deg : deg) + byDeg, atUs, restsDeg: null });
  }

  // What was asked for is over once steps ended early, or something else moved their joint.
  function lookAtEnds(arm) {
    for (const seen of arm.joints) {
      const end = hand.ends.get(seen.name);
      if (!end) continue;
      const isShort = (note) => note.code === "steps-short" && note.joint === seen.name && note.at_us > end.atUs;
      const rests = seen.state !== "jogging" && seen.heard_at_us - end.atUs > STOOD_US;
      if (rests) end.restsDeg ??= seen.position_deg;
      const moved = end.restsDeg !== null && Math.abs(seen.position_deg - end.restsDeg) > 0.015;
      if (arm.notes.some(isShort) || !seen.homed || (moved && rests)) hand.ends.delete(seen.name);
    }
  }

  // A joint's control is held no more, no control for none named.
  function drop(name) {
    if (name === undefined) hand.held.clear();
    else hand.held.delete(name);
    if (hand.held.size === 0) saying.end();
  }

  function letGo(name) {
    drop(name);
    feed.wish({ type: "jog", at_us: armUs(), velocities_deg_s: held() });
    changed();
  }

  const held = () => Object.fromEntries(
    [...hand.held].map(([name, share]) => [name, Math.round(1000 * share * speedOf(name)) / 1000]));

  /** The coordinator refused a wish: what is held is let go, and must be pressed anew. */
  hand.refused = (answer) => {
    begun = null;
    hand.ends.clear();
    drop();
    const more = REFUSED[answer.code];
    say(more ? `${answer.message}. ${more}` : answer.message, answer.code);
  };

  /** Something was told of the joints: has what was pressed begun to move? */
  hand.look = (arm) => {
    lookAtEnds(arm);
    for (const [name, share] of hand.held) notice(name, share);
    if (begun === null) return;
    const seen = arm.joints.find((one) => one.name === begun.name);
    if (!seen || !(seen.heard_at_us > begun.atUs)) return;
    if (seen.velocity_deg_s) {
      hand.lags = [...hand.lags, (seen.heard_at_us - begun.atUs) / 1000].slice(-KEPT);
      begun = null;
    } else if (seen.heard_at_us - begun.atUs > 2e6) begun = null; // it never did
  };

  hand.choose = (speed) => {
    hand.letGo();
    hand.speed = speed;
    changed();
  };
  hand.chooseStep = (byDeg) => {
    hand.letGo();
    hand.byDeg = byDeg;
    hand.ends.clear();
    changed();
  };
  return hand;
}

/** Why a joint does not turn towards larger (1) or smaller angles (−1), a sentence; null where it may. */
export function obstacle(joint, sign) {
  if (joint.faults?.length) return `${joint.name} has a fault: ${joint.faults.join(", ")}. It turns again once that is gone`;
  const end = joint.homed && joint.range_deg ? joint.range_deg[sign < 0 ? 0 : 1] : null;
  if (end === null || (end - joint.position_deg) * Math.sign(sign) > AT_END_DEG) return null;
  return `${joint.name} is at the end of its range, ${angle(end)}: it turns only the other way`;
}

/** Median and 95th percentile of lags in ms, by nearest rank; null for none. */
export function lagOf(lags) {
  if (lags.length === 0) return null;
  const sorted = [...lags].sort((a, b) => a - b);
  const rank = (share) => sorted[Math.max(0, Math.ceil(share * sorted.length) - 1)];
  return { p50: rank(0.5), p95: rank(0.95), count: sorted.length };
}
