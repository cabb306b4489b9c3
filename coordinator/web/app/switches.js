// How programs are to be played. On Play it stays as it was set while the page lives, and is off in a new one,
// which so plays what is written, from its beginning.

import { html } from "htm/preact";

/** All off. */
export const OFF = { block_delete: false, optional_stop: false, step_by_line: false, from_line: null };

/** What people call them. */
export const WORDS = { block_delete: "Block delete", optional_stop: "Optional stop", step_by_line: "Step by line" };

let on = OFF;

/** How, as the API is told it. */
export const switches = () => on;

/** All of it, as a row of a form; `changed` is called once something was. */
export function Switches({ changed }) {
  return html`<${SwitchRow} on=${on} change=${(some) => {
    on = { ...on, ...some };
    changed();
  }} />`;
}

/** The same for whoever keeps it; `change` is told what is other then. */
export function SwitchRow({ on, change }) {
  const box = (name) => html`<label><input type="checkbox" checked=${on[name]}
    onChange=${({ target }) => change({ [name]: target.checked })} /> ${WORDS[name]}</label>`;
  // What is no line is asked for too, so that it is refused rather than played from the beginning.
  const line = ({ target }) => change({ from_line: target.validity.badInput ? 0 : target.value === "" ? null : Number(target.value) });
  return html`
    <p class="row switches">
      ${box("block_delete")} <span class="small">leaves out lines that begin with /</span>
      ${box("optional_stop")} <span class="small">stops at M1</span>
      ${box("step_by_line")} <span class="small">waits for Resume after each</span>
      <span class="beside"><label>From line <input type="number" min="1" step="1" value=${on.from_line ?? ""} onInput=${line} /></label>
        <span class="small">of the file: slowly to where it would be, and waits there</span></span>
    </p>`;
}
