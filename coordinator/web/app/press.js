// A button that keeps the focus while it cannot be pressed: who works by keyboard is not thrown out.

import { html } from "htm/preact";

/** `off`: it does nothing for now. `name`: its classes. */
export const Press = ({ name = "", off, press, children }) => html`
  <button class=${name} aria-disabled=${Boolean(off)} onClick=${() => off || press()}>${children}</button>`;
