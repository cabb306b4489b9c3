// What the arm and its joints are about: a word, a shape and a tone, never colour alone. Band, lanes
// and whoever hears the page have them from here.

import { html } from "htm/preact";

const PATHS = {
  moving: "M2 1 11 6 2 11Z",
  slowing: "M1 1.5 7 6 1 10.5ZM8.5 1.5h2v9h-2Z",
  waiting: "M2 .5h8V2L7 6l3 4v1.5H2V10l3-4-3-4Z",
  rest: "M6 1a5 5 0 1 0 0 10A5 5 0 0 0 6 1Zm0 1.8a3.2 3.2 0 1 1 0 6.4 3.2 3.2 0 0 1 0-6.4Z",
  held: "M2 1h2.8v10H2ZM7.2 1H10v10H7.2Z",
  paused: "M6 .5a5.5 5.5 0 1 0 0 11 5.5 5.5 0 0 0 0-11ZM3.8 3.5h1.5v5H3.8Zm2.9 0h1.5v5H6.7Z",
  stopped: "M1.5 1.5h9v9h-9Z",
  off: "M6 .5a5.5 5.5 0 1 0 0 11 5.5 5.5 0 0 0 0-11Zm0 1.6c.8 0 1.6.3 2.2.7L2.8 8.2A3.9 3.9 0 0 1 6 2.1Zm3.2 1.7A3.9 3.9 0 0 1 3.8 9.2Z",
  homing: "M6 .5 11.5 6H9.5v5.5h-7V6H.5Z",
  unhomed: "M6 .8 11.2 6 6 11.2.8 6ZM6 3 3 6l3 3 3-3Z",
  unknown: "M3 4.2C3 2.3 4.3 1 6.1 1s3.1 1.2 3.1 2.9c0 1.3-.7 2-1.6 2.6-.6.4-.8.7-.8 1.3v.3H5v-.5c0-1.2.5-1.8 1.4-2.4.6-.4.9-.8.9-1.3 0-.6-.5-1-1.2-1S4.9 3.4 4.9 4.2ZM5 9.2h1.8V11H5Z",
  attention: "M6 .8 11.6 11H.4ZM5.4 4.5v3.4h1.2V4.5Zm0 4.2v1.2h1.2V8.7Z",
  urgent: "M3.7.5h4.6l3.2 3.2v4.6l-3.2 3.2H3.7L.5 8.3V3.7ZM5.3 2.6v4h1.4v-4Zm0 5.2v1.4h1.4V7.8Z",
  notice: "M6 .5a5.5 5.5 0 1 0 0 11 5.5 5.5 0 0 0 0-11Zm0 1.4a4.1 4.1 0 1 1 0 8.2 4.1 4.1 0 0 1 0-8.2ZM5.3 3.2v3.6h1.4V3.2Zm0 4.5v1.2h1.4V7.7Z",
  shelf: "M.8 7.5h10.4v1.4H.8ZM2.2 8.9h1.4v2.3H2.2Zm6.2 0h1.4v2.3H8.4ZM3.6 1h4.8v5.6H3.6Z",
  away: "M2.5 1.4 6 4.9l3.5-3.5 1.1 1.1L7.1 6l3.5 3.5-1.1 1.1L6 7.1l-3.5 3.5-1.1-1.1L4.9 6 1.4 2.5Z",
};

/** A shape of 12 by 12, in the size of its text's line; the word beside it says the same. */
export const Shape = ({ name, size = 12 }) => html`
  <svg class="shape" viewBox="0 0 12 12" width=${size} height=${size} aria-hidden="true">
    <path fill="currentColor" fill-rule="evenodd" d=${PATHS[name]} />
  </svg>`;

// Shape and tone of each word of the coordinator's. A tone that is filled: something moves, will
// without another command, or may; one with an edge only: every joint rests.
const ARM = {
  "moving": ["moving", "moves"],
  "homing": ["homing", "homes"],
  "starts": ["waiting", "will"],
  "held": ["held", "holds"],
  "paused": ["paused", "holds"],
  "stopped": ["stopped", "stopped"],
  "motors off": ["off", "limp"],
  "at rest": ["rest", "rests"],
  "not known": ["unknown", "may"],
};

/** The arm's condition as a sign; `arm` is null, or what it was while the coordinator is gone. */
export function armSign(arm, gone) {
  const told = arm === null || gone ? null : arm.condition;
  const word = told?.word ?? "not known";
  const [shape, tone] = ARM[word] ?? ARM["not known"];
  return { word, shape, tone, told };
}

const JOINT = {
  unhomed: ["unhomed", "not homed"],
  homing: ["homing", "homing"],
  ready: ["rest", "at rest"],
  prepared: ["rest", "at rest"],
  advancing: ["moving", "catching up"],
  armed: ["waiting", "starts"],
  moving: ["moving", "moving"],
  ramping: ["slowing", "slowing down"],
  held: ["held", "held"],
  finished: ["rest", "at rest"],
  jogging: ["moving", "jogging"],
  stopping: ["slowing", "stopping"],
};
const MOVES = new Set(["homing", "advancing", "moving", "ramping", "jogging", "stopping"]);

/**
 * A joint's shape, word, level ("", "attention", "danger") and, where there is one, the cause.
 * `heard`: whether its last word is as good as what is so now. `late`: names of joints that have not
 * confirmed a stop for so long that people must know.
 */
export function jointSign(joint, heard, { late = new Set(), preview = null, nowUs = 0 } = {}) {
  const sign = heard ? heardSign(joint, preview, nowUs)
    : ["away", "offline", "attention", joint.link_message || "it does not answer"];
  if (!late.has(joint.name)) return sign;
  return ["attention", `${sign[1]}, stop not confirmed`, "danger", sign[3]];
}

function heardSign(joint, preview, nowUs) {
  const off = joint.energised === false && !MOVES.has(joint.state);
  if (joint.supply?.lost) {
    // Until it says that it rests it may turn by its own weight or by what is left of its motion.
    const first = MOVES.has(joint.state) ? `${JOINT[joint.state][1]}, ` : "";
    return ["attention", `${first}no motor supply`, "danger",
      "its motor has no supply while its logic answers: nothing holds it but friction"];
  }
  const also = (off ? ", motors off" : "");
  if (joint.state === "faulted" || joint.faults?.length) {
    return ["attention", `fault${also}`, "danger", joint.faults?.join(", ") ?? ""];
  }
  const [shape, word] = restSign(joint, off) ?? (isStill(joint, preview, nowUs) ? ["waiting", "waits"]
    : JOINT[joint.state] ?? ["unknown", joint.state ?? "not known"]);
  if (joint.link === "up" && joint.configuration_message) {
    return ["attention", `${word}, not configured`, "danger", joint.configuration_message];
  }
  if (joint.link === "up") return [shape, word, "", ""];
  return [shape, word, "attention", joint.link_message || "its stream is being connected anew"];
}

function restSign(joint, off) {
  if (MOVES.has(joint.state)) return null;
  const unhomed = joint.homed ? "" : ", not homed";
  if (off) return ["off", `motors off${unhomed}`];
  return joint.stop ? ["stopped", `stopped${unhomed}`] : null;
}

const STILL_S = 1;

// It plays, and neither moves nor will in the next second: it has no part in this line.
function isStill(joint, preview, nowUs) {
  const planned = preview?.deg?.[joint.name];
  if (joint.state !== "moving" || joint.velocity_deg_s !== 0 || !planned) return false;
  const first = Math.max(0, Math.floor((nowUs - preview.at_us) / preview.step_us));
  const next = planned.slice(first, first + 1 + Math.ceil((STILL_S * 1e6) / preview.step_us));
  return next.length > 1 && next.every((deg) => deg === next[0]);
}
