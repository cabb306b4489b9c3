// The head of every page: whose arm, where to go, who commands.

import { html } from "htm/preact";
import { ask, post } from "./api.js";

const VIEWS = [["watch", "Watch"], ["teach", "Teach"], ["play", "Play"], ["records", "Records"],
  ["history", "History"], ["bringup", "Bring up"]];

/** Always there. */
export function Header({ arm, view, you, role, gone, act, release, keys }) {
  return html`
    <header>
      <h1>${arm?.arm ?? "Unisono"}</h1>
      <nav aria-label="Pages">
        ${VIEWS.map(([key, word]) => html`
          <a key=${key} href="#${key}" aria-current=${view === key ? "page" : undefined}>${word}</a>`)}
      </nav>
      <${Control} control=${arm?.control} you=${you} role=${role} gone=${gone} act=${act} release=${release} />
      <button class="plain" aria-expanded=${keys.open} onClick=${keys.toggle}>Keys <kbd>?</kbd></button>
    </header>`;
}

/** Take control of the arm, from another who has it or from nobody, and say what that did. */
export const takeControl = (act, from) => act(() => post("/control/take"),
  `You have control.${from == null ? "" : " What moved was told to come to rest."}`);

// With the next load the page asks for the token again.
async function logOut() {
  await ask("DELETE", "/session");
  location.reload();
}

// Who commands motion, where the coordinator says so. One button, so that it keeps the focus.
function Control({ control, you, role, gone, act, release }) {
  if (!control || gone) return null;
  const watches = role === "watch";
  const mine = control.holder != null && control.holder === you;
  const who = mine ? "You command" : control.holder == null ? "Nobody commands" : `${control.name ?? "Another"} commands`;
  const others = Math.max(0, (control.watchers ?? 1) - 1);
  return html`
    <div class="control">
      <p role="status">${who}</p>
      <p>${others === 0 ? "nobody else watches" : `${others} other${others > 1 ? "s" : ""} watch${others > 1 ? "" : "es"}`}</p>
      ${watches ? html`<p>this page may watch, hold and stop</p>`
        : html`<button class="plain" onClick=${() => (mine ? release() : takeControl(act, control.holder))}>${
          mine ? "Give back" : control.holder == null ? "Take control" : "Take over"}</button>`}
      ${location.protocol === "https:" && html`
        <button class="plain" onClick=${() => act(logOut)}>Log out</button>`}
    </div>`;
}
