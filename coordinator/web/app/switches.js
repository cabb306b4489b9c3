// How programs are to be played. It stays as it was set while the page lives, and is off in a new one,
// which so plays what is written, from its beginning.

import { html } from "htm/preact";

let on = { block_delete: false, optional_stop: false, step_by_line: false, from_line: null };

/** How, as the API is told it. */
export const switches = () => on;

/** All of it, as a row of a form; `changed` is called once something was. */
export function Switches({ changed }) {
  const take = (name, value) => {
    on = { ...on, [name]: value };
    changed();
  };
  const set = (name) => (event) => take(name, event.target.checked);
  // What is no line is asked for too, so that it is refused rather than played from the beginning.
  const line = ({ target }) => take("from_line", target.validity.badInput ? 0 : target.value === "" ? null : Number(target.value));
  return html`
    <p class="row switches">
      <label><input type="checkbox" checked=${on.block_delete} onChange=${set("block_delete")} /> Block delete</label>
      <span class="small">leaves out lines that begin with /</span>
      <label><input type="checkbox" checked=${on.optional_stop} onChange=${set("optional_stop")} /> Optional stop</label>
      <span class="small">stops at M1</span>
      <label><input type="checkbox" checked=${on.step_by_line} onChange=${set("step_by_line")} /> Step by line</label>
      <span class="small">waits for Resume after each</span>
      <label>From line <input type="number" min="1" step="1" value=${on.from_line ?? ""} onInput=${line} /></label>
      <span class="small">slowly to where it would be, and waits there</span>
    </p>`;
}
