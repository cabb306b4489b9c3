// What a gamepad says, as pushes of joints. Pure: no clock, no page, no device.
//
// Axes and buttons are those of the standard mapping (W3C Gamepad, Remapping): axes 0 and 2 are the
// sticks' horizontals, −1 left; 4 and 5 the upper front buttons; 12 to 15 the left cluster,
// 0 the lowest of the right cluster.

export const DEAD = 0.15; // of a stick's way: less is drift
export const BACK = 0.1; // a stick that was out is in its middle again below this, so that it does not chatter
export const LEAST = 0.02; // of full speed, just outside the dead zone
export const STEP_AT = 0.6; // of a stick's way: beyond that it asks for a step
export const STICKS = ["left stick", "right stick"];

const AXES = [0, 2];
const ENABLING = [4, 5];
const ASKS = { 0: "record", 12: "faster", 13: "slower", 14: "previous", 15: "next" };

/** Nothing heard of a pad yet. What holds its enabling button from before does not count. */
export const untouched = () => ({
  enabled: false, barred: true, out: [false, false], free: [false, false], stepped: [false, false], down: [],
});

/** The pad was let go by whatever else: its enabling button must be let go before it moves anything. */
export const barred = (state) => ({ ...state, enabled: false, barred: true, free: [false, false] });

/** Share of full speed, −1 to 1, for a deflection: none in the middle, then rising with its square. */
export function shaped(deflection, out) {
  if (!out) return 0;
  const beyond = Math.max(0, (Math.abs(deflection) - DEAD) / (1 - DEAD));
  return Math.sign(deflection) * Math.max(LEAST, beyond * beyond);
}

/** Whether a deflection is out of the middle, given whether it was. */
export const isOut = (deflection, was) => Math.abs(deflection) >= (was ? BACK : DEAD);

/**
 * What a pad that says `axes` (−1 to 1) and `buttons` (`{ pressed }`) asks for, after `before`.
 *
 * Gives the new `state`; `shares` of full speed for each stick; `flicks`, −1, 0 or 1 for each stick, once
 * as it is pushed far; `asks`, what was pressed just now; `waits`: a stick was out when the enabling
 * button was pressed, and moves nothing before it was in its middle.
 */
export function read(before, { axes, buttons }) {
  const down = buttons.flatMap((button, at) => (button?.pressed ? [at] : []));
  const holds = ENABLING.some((at) => down.includes(at));
  const stays = before.barred && holds;
  const enabled = holds && !stays;
  const places = AXES.map((axis) => within(axes[axis]));
  const out = places.map((place, k) => isOut(place, before.out[k]));
  const free = out.map((is, k) => !is || (enabled && before.enabled && before.free[k]));
  const stepped = places.map((place, k) => out[k] && (before.stepped[k] || Math.abs(place) >= STEP_AT));
  const goes = (k) => enabled && free[k] && out[k];
  return {
    state: { enabled, barred: stays, out, free, stepped, down },
    shares: places.map((place, k) => (goes(k) ? shaped(place, true) : 0)),
    flicks: places.map((place, k) => (goes(k) && stepped[k] && !before.stepped[k] ? Math.sign(place) : 0)),
    asks: Object.entries(ASKS)
      .filter(([at]) => down.includes(Number(at)) && !before.down.includes(Number(at)))
      .map(([, ask]) => ask),
    waits: enabled && out.some((is, k) => is && !free[k]),
  };
}

/** The pair of joints after the one that the sticks turn now, or before it; `null` where there is none. */
export function pairFrom(names, sticks, by) {
  const pairs = Math.max(1, Math.ceil(names.length / 2));
  const at = names.indexOf(sticks.find((name) => name !== null) ?? names[0]);
  const pair = (Math.floor(Math.max(0, at) / 2) + by + pairs) % pairs;
  return [names[2 * pair] ?? null, names[2 * pair + 1] ?? null];
}

// Of an axis that a pad lacks this is no number, which is never out.
const within = (value) => Math.min(1, Math.max(-1, value));
