// Update: a joint's new firmware over the air, from the file to what became of it.

import { html } from "htm/preact";
import { useState } from "preact/hooks";
import { ask, closed, postFile } from "./api.js";
import { figure, listed } from "./figures.js";
import { imageIn } from "./image.js";
import { Press } from "./press.js";
import { isFresh } from "./state.js";

const WORDS = {
  offered: "Offered", sending: "Sending", installing: "Installing", restarting: "Restarting", "on-trial": "On trial",
  done: "Done", "went-back": "Went back to the old one", failed: "Failed", cancelled: "Cancelled",
};
const OVER = ["done", "went-back", "failed", "cancelled"];

/** The joint and the file are chosen, then it is begun, followed and cancelled here. */
export function Update({ arm, nowUs, gone, act }) {
  const [name, setName] = useState("");
  const [chosen, setChosen] = useState(null); // { file, image }
  const update = arm.update ?? null;
  const going = update !== null && !OVER.includes(update.phase);
  const joint = arm.joints.find((one) => one.name === name) ?? null;
  const why = obstacle(arm, joint, chosen, nowUs);
  const choose = async (event) => {
    const file = event.target.files[0];
    setChosen(file ? { file, image: await imageIn(file) } : null);
  };
  const path = `/joints/${encodeURIComponent(going ? update.joint : name)}/update`;
  const begin = () => act(() => postFile(path, chosen.file));
  const cancel = () => act(() => ask("DELETE", path));
  return html`
    <section class="card updating" aria-label="Update">
      <h2>Update over the air</h2>
      <p class="caution">The joint restarts with its motor off, which holds nothing then: <strong>support a raised arm</strong>. What a
        gripper of this joint holds may fall. Keep its supply on until it is over. Nothing of the arm may move meanwhile.</p>
      <p class="row">
        <label>Joint <select value=${name} disabled=${going} onChange=${(event) => setName(event.target.value)}>
          <option value="">choose one</option>
          ${arm.joints.map((one) => html`<option key=${one.name} value=${one.name}>${one.name}</option>`)}
        </select></label>
        <label>Signed image <input type="file" disabled=${going} onChange=${choose} /></label>
      </p>
      ${chosen && html`<p role="status">${chosen.image.mistake
        ?? `${chosen.file.name}: ${chosen.image.firmware} for the board ${chosen.image.board}, ${kilobytes(chosen.image.size)}.`}</p>`}
      <p class="row">
        <${Press} off=${gone || going || why !== ""} press=${begin}>Update ${joint?.name ?? "the joint"}<//>
        ${!going && why && html`<span class="small">${why}</span>`}
      </p>
      ${update && html`<${Going} update=${update} going=${going} gone=${gone} cancel=${cancel} />`}
    </section>`;
}

// Where it is, in words that stay when it is over.
function Going({ update, going, gone, cancel }) {
  const share = update.size_bytes ? update.sent_bytes / update.size_bytes : 0;
  const bad = update.phase === "failed" || update.phase === "went-back";
  return html`
    <h3>${update.joint}: ${update.before} to ${update.firmware}</h3>
    <p role="status" class=${bad ? "bad" : ""}><strong>${WORDS[update.phase] ?? update.phase}</strong>${": "}
      ${closed(update.phase === "sending" ? update.message.split(",")[0] : update.message)}</p>
    ${going && html`<p class="row">
      <progress max=${update.size_bytes} value=${update.sent_bytes} aria-label="Bytes that the joint has"></progress>
      <span>${Math.floor(100 * share)} % of ${kilobytes(update.size_bytes)}</span>
      ${update.may_be_cancelled
        ? html`<${Press} name="plain" off=${gone} press=${cancel}>Cancel the update<//>`
        : html`<span class="small">It cannot be cancelled any more: a new image that does not answer gives way to the old one.</span>`}
    </p>`}
    ${update.may_be_repeated && html`<p class="small">It may be done again: what the joint keeps of it is sent no second time.</p>`}`;
}

// Why it cannot be begun now, a sentence; empty where only the coordinator can tell.
function obstacle(arm, joint, chosen, nowUs) {
  if (joint === null) return "Choose a joint.";
  if (!isFresh(joint, nowUs)) return `${joint.name} is not heard.`;
  if (!joint.board) return `${joint.name} takes no firmware over the air: flash it over its cable.`;
  if (chosen === null) return "Choose a signed image.";
  if (chosen.image.mistake) return "Choose another file.";
  if (chosen.image.board !== joint.board) {
    return `The image is for the board ${chosen.image.board}, and ${joint.name} is a ${joint.board}.`;
  }
  if (arm.run) return "A program is being played: stop it first.";
  const moving = arm.joints.filter((one) => one.velocity_deg_s).map((one) => one.name);
  if (moving.length) return `${listed(moving)} ${moving.length > 1 ? "move" : "moves"}.`;
  if (joint.energised) {
    return `The motor of ${joint.name} is on: bring the arm to its pose park and its motors off first, by Motors off… below.`;
  }
  return "";
}

const kilobytes = (bytes) => figure(bytes / 1000, bytes < 10_000 ? 1 : 0, "kB");
