// The list of keys: a dialog beside the page, not before it, so that Hold and Stop stay in reach.

import { html } from "htm/preact";
import { useEffect, useRef } from "preact/hooks";
import { isAltered, isKey, KEYS, shown } from "./keys.js";

// Who speaks to a computer may type a ? without meaning to (WCAG 2.2, 2.1.4): it can be turned off.
const OFF = "unisono-help-key-off";

/** `opens()` is called before it opens, `changed()` after a change. */
export function makeKeysList({ opens, changed }) {
  const list = { open: false, byKey: localStorage.getItem(OFF) === null };
  let opener = null;

  list.toggle = () => (list.open ? close() : open());
  list.setByKey = (on) => {
    list.byKey = on;
    if (on) localStorage.removeItem(OFF);
    else localStorage.setItem(OFF, "1");
    changed();
  };

  function open() {
    opens();
    opener = document.activeElement;
    list.open = true;
    changed();
  }

  function close() {
    list.open = false;
    changed();
    opener.focus({ preventScroll: true }); // if it is still there; else focus.js finds a place
  }

  addEventListener("keydown", (event) => {
    if (isAltered(event) || event.repeat) return;
    if (list.open && isKey("close", event)) close();
    else if (list.byKey && isKey("help", event) && !isText(event.target)) list.toggle();
    else return;
    event.preventDefault();
  });
  return list;
}

/** Whether somebody writes there. */
export const isText = (target) =>
  target.matches?.("textarea, input:not([type=checkbox], [type=range], [type=file]), [contenteditable]") ?? false;

/** The dialog, while it is open. */
export function KeysList({ list }) {
  return list.open && html`<${Open} list=${list} />`;
}

function Open({ list }) {
  const heading = useRef(null);
  useEffect(() => heading.current.focus(), []);
  return html`
    <div class="keyslist" role="dialog" aria-labelledby="keys">
      <h2 id="keys" tabindex="-1" ref=${heading}>Keys</h2>
      <dl>${Object.entries(KEYS).map(([name, row]) => html`
        <div key=${name}>
          <dt>${shown(row).map((key, k) => html`${k > 0 && " or "}<kbd>${key}</kbd>`)}</dt>
          <dd>${row.where}: ${row.does}</dd>
        </div>`)}
      </dl>
      <p>Tab goes to the next control and Shift+Tab back; Enter and Space press a button: Hold and Stop too.</p>
      <p class="row"><button onClick=${list.toggle}>Close</button>
        <label><input type="checkbox" checked=${list.byKey} onChange=${(event) => list.setByKey(event.target.checked)} />
          <kbd>?</kbd> opens it, <kbd>r</kbd> records</label></p>
    </div>`;
}
