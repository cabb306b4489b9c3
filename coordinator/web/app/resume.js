// Resume moves the arm, so a slip does not do it: it is kept pressed for a second, or confirmed.

import { html } from "htm/preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { closed, post } from "./api.js";
import { figure, listed } from "./figures.js";
import { isKey } from "./keys.js";
import { Shape } from "./signs.js";

const PRESS_MS = 1000;

/** The button in its fixed place, and above the bar what it would do or why it cannot be. */
export function Resume({ arm, gone, you, role, act }) {
  const rests = arm?.run?.phase === "held" || arm?.run?.phase === "paused";
  const why = gone ? "the coordinator is not heard" : rests ? obstacle(arm, you, role) : "nothing is held";
  const can = why === "";
  const [asks, setAsks] = useState(false);
  const send = () => {
    setAsks(false);
    act(() => post("/resume"));
  };
  const press = usePress(can, send, () => setAsks(true));
  useEffect(() => {
    if (!can) setAsks(false);
  }, [can]);
  return html`
    <button class="resuming ${press.going ? "going" : ""}" aria-disabled=${!can} aria-describedby="resumes" ...${press.handlers}>
      <span class="filling" aria-hidden="true"></span>
      <span class="label"><${Shape} name="moving" size=${13} /> Resume</span>
      <small aria-hidden="true">${can ? "press 1 s" : gone ? "not heard" : rests ? "not now" : why}</small>
    </button>
    <div class="panel resumes ${rests && !gone ? "" : "unseen"}">
      <p id="resumes">${can ? html`<strong>Resume</strong> ${what(arm.run, arm.joints)}` : `No resume: ${closed(why)}`}</p>
      ${can && asks && html`
        <p><strong>Too short.</strong> Keep Resume pressed for a second, or confirm here:</p>
        <button class="grave" onClick=${send}>Resume now</button>
        <button class="plain" onClick=${() => setAsks(false)}>Leave it ${arm.run.phase}</button>`}
    </div>`;
}

// What a resume would move, from a run that rests.
function what(run, joints) {
  const where = run.phase === "paused" && run.awaits ? `behind line ${run.line} once ${run.awaits.replace(" to be ", " is ")}`
    : run.phase === "paused" ? `behind the pause of line ${run.line}`
    : run.line ? `at line ${run.line}` : "on its path";
  const late = Object.entries(run.behind_us ?? {}).filter(([, us]) => us > 0)
    .map(([name, us]) => `${name} by ${figure(us / 1000, 0, "ms")}`);
  const first = late.length ? `first brings up slowly what is behind (${late.join(", ")}), then ` : "";
  const who = joints.length < 3 ? listed(joints.map((joint) => joint.name)) : `all ${joints.length} joints`;
  return `${first}goes on ${where}, and ${who} may move at once: keep out of the arm's reach.`;
}

// Why a run that rests cannot be resumed from here, a clause; empty if it can.
function obstacle(arm, you, role) {
  if (arm.run.obstacle) return arm.run.obstacle.message;
  if (role === "watch") return "this page may watch, hold and stop";
  const { holder, name } = arm.control ?? {};
  return holder != null && you !== null && holder !== you
    ? `${name ?? "another"} commands; take over first, at the top of the page` : "";
}

// A press that lasts. A tap, and the click of a screen reader, which lasts no time, ask first.
function usePress(can, done, short) {
  const [going, setGoing] = useState(false);
  const timer = useRef(null);
  const now = useRef({});
  now.current = { can, done };
  const cancel = () => {
    clearTimeout(timer.current);
    timer.current = null;
    setGoing(false);
  };
  const begin = () => {
    if (!can || timer.current !== null) return;
    setGoing(true);
    timer.current = setTimeout(() => {
      cancel();
      // What was so when it was pressed may be so no more.
      if (now.current.can && document.visibilityState === "visible") now.current.done();
    }, PRESS_MS);
  };
  const end = () => {
    if (timer.current === null) return;
    cancel();
    short();
  };
  useEffect(() => {
    if (!can) cancel();
    return cancel;
  }, [can]);
  const handlers = {
    onPointerDown: (event) => {
      const { target, pointerId } = event;
      if (target.hasPointerCapture(pointerId)) target.releasePointerCapture(pointerId); // it may slide off
      if (event.isPrimary && event.button === 0) begin();
    },
    onPointerUp: end,
    onPointerLeave: cancel,
    onPointerCancel: cancel,
    onBlur: cancel,
    onContextMenu: (event) => event.preventDefault(),
    onKeyDown: (event) => {
      if (!isKey("resume", event)) return cancel();
      event.preventDefault();
      return event.repeat ? undefined : begin();
    },
    onKeyUp: (event) => {
      if (!isKey("resume", event)) return;
      event.preventDefault();
      end();
    },
    onClick: (event) => {
      if (can && event.detail === 0) short();
    },
  };
  return { going, handlers };
}
