// The queue: sequences and kept programs that are played one after another, what is next and how far it is.

import { html } from "htm/preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { ask, sentence } from "./api.js";
import { Press } from "./press.js";

const WORDS = { waits: "waits", plays: "is played", finished: "finished", ended: "ended here" };

/** Where the queue is, in one sentence; empty where it is not being played. */
export function queuePlace(queue) {
  if (!queue?.playing) return "";
  const at = queue.entries.findIndex((one) => one.state === "plays");
  const next = queue.entries.find((one) => one.state === "waits");
  const here = at < 0 ? "" : `${at + 1} of ${queue.entries.length}, ${queue.entries[at].name}`;
  return `Queue: ${here || "between two entries"}; ${next ? `next ${next.name}, which begins by itself` : "nothing behind it"}.`;
}

/**
 * `chosen`: what was taken from what is kept, which can be added; `other`: another text than what is
 * kept of it stands in the editor.
 */
export function Queue({ model, chosen, other, gone, act }) {
  const [loops, setLoops] = useState(1);
  const section = useRef(null);
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
  const remove = async (one, place) => {
    removed.current = place;
    if (!await edit({ type: "remove", entry: one.id })) removed.current = null;
  };
  const add = () => edit({ type: "add", taught: chosen.id, loops: Number(loops) }, `${chosen.name} is queued.`);
  const play = () => act(async () => {
    await ask("POST", "/queue/play", { revision: queue.revision });
    location.hash = "#watch";
  });
  const some = Number.isInteger(Number(loops)) && loops >= 1 && loops <= 10_000;
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
            ${k + 1}. <strong>${one.name}</strong> ${one.loops > 1 && html`<span>${one.loops} loops</span>`}
            <span>${WORDS[one.state] ?? one.state}${one.run ? `, run ${one.run}` : ""}</span>
            <${Press} off=${gone || queue.playing || k === 0} press=${() => edit({ type: "move", entry: one.id, to: k - 1 })}>
              Earlier<span class="unseen"> ${one.name}, place ${k + 1}</span><//>
            <${Press} off=${gone || (queue.playing && one.state !== "waits")} press=${() => remove(one, k)}>
              Remove<span class="unseen"> ${one.name}, place ${k + 1}</span><//>
          </li>`)}</ol>`}
      <p class="row">
        <label>Times in the queue <input type="number" min="1" max="10000" value=${loops} aria-invalid=${!some}
          onInput=${(event) => setLoops(event.target.value)} /></label>
        <${Press} off=${gone || queue.playing || !chosen || !some} press=${add}>
          Add ${chosen ? `${chosen.name}${other ? " as it is kept" : ""}` : "what is chosen"}<//>
        ${!some && html`<span role="alert">Times in the queue must be a whole number from 1 to 10000.</span>`}
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
