// What a state looks like: a shape and a word, never colour alone.

import { html } from "htm/preact";

const PATHS = {
  moving: "M3 1.5 11 6 3 10.5Z",
  still: "M6 2a4 4 0 1 0 0 8 4 4 0 0 0 0-8Zm0 1.5a2.5 2.5 0 1 1 0 5 2.5 2.5 0 0 1 0-5Z",
  held: "M2.5 1.5h2.5v9H2.5ZM7 1.5h2.5v9H7Z",
  stopped: "M2 2h8v8H2Z",
  homing: "M6 1 11 6H9v5H3V6H1Z",
  unhomed: "M6 .8 11.2 6 6 11.2 .8 6ZM6 3 3 6l3 3 3-3Z",
  set: "M2.5 1h1.3v10H2.5ZM5 2l5.5 4L5 10Z",
  attention: "M6 .8 11.6 11H.4ZM5.4 4.5v3.4h1.2V4.5Zm0 4.2v1.2h1.2V8.7Z",
  away: "M2.5 1.4 6 4.9l3.5-3.5 1.1 1.1L7.1 6l3.5 3.5-1.1 1.1L6 7.1l-3.5 3.5-1.1-1.1L4.9 6 1.4 2.5Z",
};

const STATES = {
  unhomed: ["unhomed", "not homed"],
  homing: ["homing", "homing"],
  ready: ["still", "ready"],
  prepared: ["still", "prepared"],
  advancing: ["moving", "catching up"],
  armed: ["set", "start is set"],
  moving: ["moving", "moving"],
  ramping: ["held", "slowing down"],
  held: ["held", "held"],
  finished: ["still", "finished"],
  jogging: ["moving", "jogging"],
  stopping: ["stopped", "stopping"],
  faulted: ["attention", "fault"],
};

const LINKS = {
  absent: "not there",
  connecting: "connecting",
  refused: "refused",
  conflict: "found twice",
};

/** A shape of 12 by 12; the word beside it says the same. */
export const Shape = ({ name }) => html`
  <svg class="shape" viewBox="0 0 12 12" width="12" height="12" aria-hidden="true">
    <path fill="currentColor" fill-rule="evenodd" d=${PATHS[name]} />
  </svg>`;

/** Shape, word and level ("", "attention", "danger") of a joint's state. */
export function jointState(joint, fresh) {
  if (joint.link !== "up") return ["away", LINKS[joint.link] ?? joint.link, "attention"];
  if (!fresh) return ["away", "silent", "attention"];
  if (joint.state === "faulted" || joint.faults?.length) return ["attention", "fault", "danger"];
  if (joint.stop && joint.state !== "stopping") {
    return ["stopped", joint.homed ? "stopped" : "stopped, not homed", ""];
  }
  const [shape, word] = STATES[joint.state] ?? ["unhomed", joint.state ?? "unknown"];
  return [shape, word, ""];
}
