// Bring up: from a bare board to a joint of the arm, which firmware runs where, and new firmware.

import { html } from "htm/preact";
import { useState } from "preact/hooks";
import { ArmFile } from "./armfile.js";
import { NONE } from "./figures.js";
import { isFresh } from "./state.js";
import { Steps } from "./steps.js";
import { Update } from "./update.js";

// What each step says before its command; capitals are to be replaced.
const STEPS = [
  ["Once for the arm: its key, and the key that signs firmware.", "unisono key new --data DIR"],
  ["", "unisono key firmware --data DIR"],
  ["Which port has the board?", "unisono joint list"],
  ["A board without this project's firmware, its motor's supply cut:", "unisono joint flash PORT IMAGE --supply-off"],
  ["Its id, to be written into its joint of arm.toml:", "unisono joint show PORT"],
  ["Keys, network and name, until it has proved on the network that it is the arm's:",
    "unisono joint set-up PORT --arm arm.toml --data DIR --interface ADDR"],
  ["Or begin the arm file with all joints that are there:", "unisono arm new arm.toml --interface ADDR"],
  ["Then start the coordinator anew with that arm file. For an update, sign what was built for its board:",
    "unisono joint sign IMAGE --board BOARD --firmware VERSION --data DIR"],
];

/** The page for whoever adds a board, or gives one new firmware. */
export function BringUp({ model, nowUs, gone, act }) {
  const arm = model.arm;
  return html`
    <section class="card" aria-label="Cautions">
      <h2>Before you begin</h2>
      <p class="caution">A joint whose motor is off holds nothing: <strong>support a raised arm</strong>. Cut the supply of the joint's motor before
        you plug a cable, leave the board on its cable's power, and keep fingers out of pinch points: while a board starts nobody
        commands its driver. Motors, drivers and heat sinks may be hot. Never work at a board while mains wiring of a
        supply is open. Stop and Hold are software, no safety-rated emergency stop.</p>
    </section>
    <${Joints} arm=${arm} nowUs=${nowUs} />
    <${Steps} arm=${arm} gone=${gone} act=${act} />
    <${Update} arm=${arm} nowUs=${nowUs} gone=${gone} act=${act} />
    <${ArmFile} arm=${arm} gone=${gone} act=${act} />
    <${Bare} />`;
}

function Joints({ arm, nowUs }) {
  return html`
    <section class="card" aria-label="Joints">
      <h2>Joints, base to tool</h2>
      <div class="scroll" tabindex="0" role="region" aria-label="Firmware of each joint">
        <table>
          <thead><tr><th scope="col">joint</th><th scope="col">place</th><th scope="col">id</th><th scope="col">link</th>
            <th scope="col">firmware</th><th scope="col">image</th><th scope="col">board</th></tr></thead>
          <tbody>${arm.joints.map((joint, k) => html`<tr key=${joint.name}><th scope="row">${joint.name}</th>
            <td>${k + 1} of ${arm.joints.length}, ${joint.word}</td><td>${joint.id}</td>
            <td>${isFresh(joint, nowUs) ? joint.link : "not heard"}</td>
            <td>${joint.firmware ?? NONE}</td><td>${imageWords(joint)}</td>
            <td>${joint.board ?? (joint.firmware == null ? NONE : "takes no updates")}</td></tr>`)}
          </tbody>
        </table>
      </div>
      <p class="small">An image is told by the first digits of its SHA-256. One <em>on trial</em> is not confirmed yet: a restart brings back
        the one before. Whether a joint has the key that signs updates, only its cable tells: unisono joint show PORT.</p>
      ${arm.unknown?.length > 0 && html`
        <p>These announce themselves, and no joint of the arm file has their id:</p>
        <ul class="facts">${arm.unknown.map((one) => html`<li key=${one.instance}>${one.id} at ${one.host}</li>`)}</ul>`}
    </section>`;
}

function imageWords(joint) {
  if (joint.firmware == null) return NONE;
  const image = joint.image == null ? "not by an update" : `${joint.image.slice(0, 8)}…`;
  return joint.on_trial ? `${image}, on trial` : image;
}

// No line ends within an option: its hyphens would be taken for the line's own.
const wordsOf = (command) => command.split(" ").map((word, k) => html`${k ? " " : ""}<span>${word}</span>`);

// A browser cannot reach a cable; the commands can be taken from here.
function Bare() {
  const [copied, setCopied] = useState("");
  const copy = async (command) => {
    try {
      await navigator.clipboard.writeText(command);
      setCopied(`Copied: ${command}`);
    } catch {
      setCopied("The browser does not let this page copy: select the command and copy it by hand.");
    }
  };
  return html`
    <section class="card" aria-label="A bare board">
      <h2>From a bare board</h2>
      <p class="small">Over the board's serial cable, which a browser cannot reach: on the computer at its other end. Replace what is in
        capitals: DIR is the coordinator's data folder, ADDR this computer's address on the joints' network.</p>
      <ol class="steps">${STEPS.map(([words, command]) => html`
        <li key=${command}>${words && html`<p>${words}</p>`}
          <p class="row"><code>${wordsOf(command)}</code>
            <button class="plain" aria-label="Copy ${command}" onClick=${() => copy(command)}>Copy</button></p></li>`)}</ol>
      <p role="status" class="small">${copied}</p>
    </section>`;
}
