// How often a program is to be played, or for how long, and whether home edges are checked in between.

import { html } from "htm/preact";

const MOST_LOOPS = 10_000;
const MOST_MINUTES = 1440; // a day

/** What stands in the fields: minutes go before loops; `unread`: what stands there for them is no number. */
export const ONCE = { loops: 1, minutes: "", unread: false, edges: false };

const isTimed = (often) => often.unread || often.minutes !== "";

/** Whether there may be more than one loop. */
export const several = (often) => isTimed(often) || often.loops > 1;

/** As the API is told it. */
export const asked = (often) => ({
  ...(isTimed(often) ? { for_s: often.minutes * 60 } : { loops: Number(often.loops) }),
  ...(several(often) && often.edges ? { check_edges: true } : {}),
});

/** Why it cannot be asked, a sentence; empty where it can. */
export function wrong({ loops, minutes, unread }) {
  if (unread) return `Minutes is no number, but must be above 0 and at most ${MOST_MINUTES}; empty for a number of loops.`;
  if (minutes !== "") {
    return minutes > 0 && minutes <= MOST_MINUTES ? ""
      : `Minutes is ${minutes}, but must be above 0 and at most ${MOST_MINUTES}; empty for a number of loops.`;
  }
  return Number.isInteger(Number(loops)) && loops >= 1 && loops <= MOST_LOOPS ? ""
    : `Loops is ${loops === "" ? "empty" : loops}, but must be 1 to ${MOST_LOOPS}.`;
}

/** The fields; `change` is told what is other then. `lasts`: what so many loops take, words; empty if not known. */
export function Often({ often, change, lasts = "" }) {
  const [timed, why] = [isTimed(often), wrong(often)];
  return html`
    <p class="row">
      <label>Loops <input type="number" min="1" max=${MOST_LOOPS} value=${often.loops} aria-invalid=${!timed && Boolean(why)}
        disabled=${timed} onInput=${({ target }) => change({ loops: target.value })} /></label>
      <label>or for minutes <input type="number" min="0" max=${MOST_MINUTES} step="any" value=${often.minutes}
        aria-invalid=${timed && Boolean(why)}
        onInput=${({ target }) => change({ minutes: target.value, unread: target.validity.badInput })} /></label>
      ${why ? html`<span role="alert">${why}</span>`
        : timed ? html`<span class="small">the loop in motion is finished then</span>`
        : several(often) && lasts && html`<span class="small">${lasts}</span>`}
    </p>
    ${several(often) && html`<p class="switches"><label><input type="checkbox" checked=${often.edges}
      onChange=${({ target }) => change({ edges: target.checked })} /> Check home edges in between</label>
      ${often.edges && html`<span class="small"> Each joint turns alone over its home sensor and back, no faster than it homes:
        look first what stands in its way.</span>`}</p>`}`;
}
