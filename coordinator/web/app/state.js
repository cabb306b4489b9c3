// What the page knows, and how messages of the feed change it. Pure: no clock, no network.

export const KEPT_S = 11; // of angles, a little more than the strip shows
export const GONE_MS = 700; // a message comes four times a second at least; looked for every LOOK_MS

/** Nothing known yet. */
export const nothing = () => ({
  seq: null, version: null, arm: null, tracks: {}, heats: {}, offsetUs: null, heardMs: null,
  cut: false, // the connection ended, and no new one has said anything yet
  start: null, // the newest start, also after its run has ended
});

/** The model after a message that came at local time `ms`; null for a gap in the numbering. */
export function apply(model, message, ms) {
  if (message.type === "whole") return whole(message, ms);
  if (message.type !== "change" || model.arm === null) return model;
  if (message.seq !== model.seq + 1) return null;
  const arm = { ...model.arm, ...message.set, now_us: message.at_us };
  if (message.joints && Object.keys(message.joints).length) {
    arm.joints = arm.joints.map((joint) =>
      message.joints[joint.name] ? { ...joint, ...message.joints[joint.name] } : joint);
  }
  if (message.notes?.length) arm.notes = [...arm.notes, ...message.notes].slice(-200);
  for (const joint of arm.joints) {
    track(model.tracks, joint, message.at_us);
    heat(model.heats, joint, message.at_us);
  }
  return {
    ...model, seq: message.seq, arm, heardMs: ms, start: startOf(arm.run, model.start),
    offsetUs: steady(model.offsetUs, message.at_us - ms * 1000),
  };
}

// A start that was only set when its run ended, or was withdrawn, never came.
function startOf(run, before) {
  if (run) return run.start ?? null;
  return before?.set ? null : before;
}

function whole(message, ms) {
  const arm = message.state;
  const tracks = {};
  const heats = {};
  for (const joint of arm.joints) {
    const past = message.history?.joints?.[joint.name] ?? { at_us: [], deg: [] };
    const warmth = message.history?.temperature?.[joint.name] ?? { at_us: [], c: [] };
    tracks[joint.name] = { at: [...past.at_us], value: [...past.deg] };
    heats[joint.name] = { at: [...warmth.at_us], value: [...warmth.c] };
  }
  return {
    seq: message.seq, version: message.version, arm, tracks, heats, heardMs: ms, cut: false,
    start: arm.run?.start ?? null,
    offsetUs: arm.now_us - ms * 1000,
  };
}

// The message that was least delayed says best how arm time and local time stand.
function steady(before, seen) {
  return seen > before ? seen : before + (seen - before) * 0.02;
}

/** Arm time at local time `ms`, µs; it goes on while the coordinator is not heard. */
export const armNow = (model, ms) => ms * 1000 + model.offsetUs;

/** Whether the coordinator is not heard: told within a second, in time for whoever waits for it. */
export const isGone = (model, ms) =>
  model.heardMs === null || model.cut || ms - model.heardMs > GONE_MS;

/** Whether anything moves or is about to. */
export const isBusy = (arm) => arm !== null && arm.busy;

/** How old a joint's word is in s, null if it was never heard. */
export function ageS(joint, nowUs) {
  return joint.heard_at_us == null ? null : Math.max(0, nowUs - joint.heard_at_us) / 1e6;
}

/** Whether what a joint said last is as good as what is so now. Its stream may be gone meanwhile. */
export function isFresh(joint, nowUs) {
  const age = ageS(joint, nowUs);
  return age !== null && age <= 1;
}

/** How far ahead of now a path time lies for a run, in s; null where nothing moves along it. */
export function aheadS(run, pathUs) {
  if (!run || pathUs == null || run.path_us == null || !run.rate_percent) return null;
  return (pathUs - run.path_us) / 1e6 / (run.rate_percent / 100);
}

// A point where the joint was heard, none while it is silent: the line ends there.
function track(tracks, joint, atUs) {
  const line = (tracks[joint.name] ??= { at: [], value: [] });
  const at = joint.heard_at_us ?? null;
  if (at === null || at <= (line.at.at(-1) ?? -Infinity)) return;
  push(line, at, joint.position_deg ?? null, atUs - KEPT_S * 1e6);
}

function heat(heats, joint, atUs) {
  const line = (heats[joint.name] ??= { at: [], value: [] });
  const at = joint.heard_at_us ?? null;
  if (at === null || at - (line.at.at(-1) ?? -Infinity) < 5e6) return;
  // What cannot be believed is no temperature.
  push(line, at, joint.plausible === false ? null : joint.temperature_c ?? null, atUs - 600e6);
}

function push(line, at, value, oldest) {
  line.at.push(at);
  line.value.push(value);
  let old = 0;
  while (line.at[old + 1] < oldest) old += 1;
  if (old > 20) {
    line.at.splice(0, old);
    line.value.splice(0, old);
  }
}
