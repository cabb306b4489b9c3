// The queue: sequences and kept programs that are played one after another, what is next and how far it is.

import { html } from "htm/preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { ask, sentence } from "./api.js";
import { figure } from "./figures.js";
import { asked, Often, ONCE, wrong } from "./often.js";
import { Press } from "./press.js";
import { OFF, SwitchRow, WORDS } from "./switches.js";

const STATES = { waits: "waits", plays: "is played", finished: "finished", ended: "ended here" };
const STANDS = { held: "is held", paused: "is paused" }; // phases of its run

/** Where the queue is, in one sentence; empty where it is not being played. */
export function queuePlace(queue) {
  if (!queue?.playing) return "";
  const at = queue.entries.findIndex((one) => one.state === "plays");
  const next = queue.entries.find((one) => one.state === "waits");
  const here = at < 0 ? "" : `${at + 1} of ${queue.entries.length}, ${queue.entries[at].name}`;
  return `Queue: ${here || "between two entries"}; ${next ? `next ${next.name}, which begins by itself` : "nothing behind it"}.`;
}

// How far an entry is: of one that is played, whether it stands.
function stateOf(one, run) {
  const stands = one.state === "plays" && run?.number === one.run && STANDS[run?.phase];
  return stands || STATES[one.state] || one.state;
}

// What differs from playing it once as it is written.
function optionWords(options) {
  return [
    options.loops > 1 && `${options.loops} loops`,
    options.for_s !== null && `loops for ${figure(options.for_s / 60, 1, "min")}`,
    options.check_edges && "home edges checked",
    ...Object.keys(WORDS).map((name) => options[name] && WORDS[name].toLowerCase()),
    options.from_line !== null && `from line ${options.from_line}`,
  ].filter(Boolean);
}

/**
 * `chosen`: what was taken from what is kept, which can be added; `other`: another text than what is
 * kept of it stands in the editor.
 */
export function Queue({ model, chosen, other, gone, act }) {
  const [often, setOften] = useState(ONCE);
  const [on, setOn] = useState(OFF);
  const [clearing, setClearing] = useState(false); // whether all are to be removed is being asked
  const section = useRef(null);
  const added = useRef(0); // the queue's revision after what was added here last
  const removed = useRef(null); // the place of what somebody removes here, until it is gone
  const queue = model.arm.queue;
  useEffect(() => {
    const place = removed.current;
    removed.current = null;
    // Whoever has gone elsewhere meanwhile stays there.
    if (place === null || !document.activeElement?.matches("body, main")) return;
    // Not to its button: a key that is kept pressed would remove that one too.
    (section.current.querySelectorAll("li")[place] ?? section.current.querySelector("h2")).focus();
  }, [queue?.entries.length]);
  if (!queue) return null;
  const edit = (change, done) => act(() =>
    ask("POST", "/queue/edits", { revision: queue.revision, edit: change }), done);
  // What is added stands behind all others, whatever they are: so the next may be added before the feed
  // has told of the one before.
  const add = () => {
    const revision = Math.max(queue.revision, added.current);
    added.current = 0;
    return act(async () => {
      const change = { type: "add", taught: chosen.id, options };
      added.current = (await ask("POST", "/queue/edits", { revision, edit: change })).revision;
    }, `${chosen.name} is queued.`);
  };
  const remove = async (one, place) => {
    removed.current = place;
    if (!await edit({ type: "remove", entry: one.id })) removed.current = null;
  };
  const clear = async () => {
    setClearing(false);
    removed.current = 0;
    if (!await edit({ type: "clear" })) removed.current = null;
  };
  const options = { ...asked(often), ...on };
  const set = (one) => edit({ type: "set-options", entry: one.id, options }, `${one.name} is played so.`);
  const play = () => act(async () => {
    await ask("POST", "/queue/play", { revision: queue.revision });
    location.hash = "#watch";
  });
  const some = !wrong(often) && (on.from_line === null || on.from_line >= 1);
  const waitsForArm = model.arm.phase !== "idle";
  const again = !queue.playing && queue.entries.some((one) => one.state === "finished");
  const unhomed = model.arm.joints.filter((joint) => !joint.homed).map((joint) => joint.name);
  return html`
    <section class="card queue" aria-label="Queue" ref=${section}>
      <h2 tabindex="-1">Queue</h2>
      <div role="status">${queue.playing && html`<p>${queuePlace(queue)}</p>`}
        ${queue.message && html`<p class="bad">${sentence(queue.message)}</p>`}</div>
      ${queue.entries.length === 0 ? html`<p class="small">Nothing is queued: choose a sequence or program above, then add it.</p>` : html`
        <ol class="runs">${queue.entries.map((one, k) => html`
          <li key=${one.id} tabindex="-1" aria-current=${one.state === "plays" ? "step" : null}>
            ${k + 1}. <strong>${one.name}</strong> ${optionWords(one.options).map((words) => html`<span>${words}</span>`)}
            <span>${stateOf(one, model.arm.run)}${one.run ? `, run ${one.run}` : ""}</span>
            ${one.why && html`<span class="bad">${one.state === "waits" ? "did not begin: " : ""}${one.why}</span>`}
            <${Press} off=${gone || queue.playing || k === 0} press=${() => edit({ type: "move", entry: one.id, to: k - 1 })}>
              Earlier<span class="unseen"> ${one.name}, place ${k + 1}</span><//>
            <${Press} off=${gone || queue.playing || !some} press=${() => set(one)}>
              Play as set<span class="unseen"> below, ${one.name}, place ${k + 1}</span><//>
            <${Press} off=${gone || (queue.playing && one.state !== "waits")} press=${() => remove(one, k)}>
              Remove<span class="unseen"> ${one.name}, place ${k + 1}</span><//>
          </li>`)}</ol>
        <p class="row">${clearing ? html`
          <span>Remove all ${queue.entries.length} from the queue? It cannot be undone.</span>
          <${Press} off=${gone || queue.playing} press=${clear}>Remove all<//>
          <${Press} press=${() => setClearing(false)}>Keep them<//>` : html`
          <${Press} off=${gone || queue.playing} press=${() => setClearing(true)}>Remove all…<//>`}</p>`}
      <fieldset><legend>How an entry is played</legend>
        <${Often} often=${often} change=${(more) => setOften((now) => ({ ...now, ...more }))} />
        <${SwitchRow} on=${on} change=${(more) => setOn((now) => ({ ...now, ...more }))} />
      </fieldset>
      <p class="row">
        <${Press} off=${gone || queue.playing || !chosen || !some} press=${add}>
          Add ${chosen ? `${chosen.name}${other ? " as it is kept" : ""}` : "what is chosen"}<//>
        ${on.from_line !== null && !(on.from_line >= 1) && html`<span role="alert">From line must be a whole number from 1 on.</span>`}
        ${chosen && other && html`<span class="small">Another text stands below: what is kept when its turn comes is played.</span>`}
      </p>
      ${queue.entries.length > 0 && html`
        <p class="caution">The arm begins to move at once, and each entry begins by itself once the one before has
          finished, from where the arm then stands. Keep hands, hair and sleeves out of its reach.</p>
        ${again && html`<p>Finished ones are played again; remove them to go on behind them.</p>`}
        ${waitsForArm && !queue.playing && html`<p>The arm is ${model.arm.phase}: the queue must wait for it.</p>`}
        ${unhomed.length > 0 && html`<p>Not homed: ${unhomed.join(", ")}. Home them first, on <a href="#watch">Watch</a>.</p>`}
        <p class="row"><${Press} name="main" off=${gone || queue.playing || waitsForArm || unhomed.length > 0}
          press=${play}>Play queue from 1, ${queue.entries[0].name}<//></p>`}
    </section>`;
}
