// The head of every page: whose arm, where to go, who commands, and the one Stop.

import { html } from "htm/preact";
import { useState } from "preact/hooks";
import { ask, deliver, post } from "./api.js";

const VIEWS = [["watch", "Watch"], ["play", "Play"], ["records", "Records"]];
const UNSTOPPED = "The stop was not delivered. Use the emergency stop that cuts the power.";

/** Always there. Stop comes first for the keyboard. */
export function Header({ arm, view, you, role, gone, act }) {
  const [more, setMore] = useState(false);
  const stop = async (level) => {
    setMore(false);
    await act(() => deliver("/stop", { level }, UNSTOPPED), DONE[level]);
  };
  return html`
    <header>
      <div class="stop">
        <button class="stopping" onClick=${() => stop("stop")}>
          <svg viewBox="0 0 12 12" width="14" height="14" aria-hidden="true"><path d="M0 0h12v12H0Z" fill="currentColor" /></svg> Stop</button>
        <p class="caution">A software stop. Not an emergency stop.</p>
        <button class="plain more" aria-expanded=${more} aria-controls="drivers"
          onClick=${() => setMore(!more)}>Drivers off…</button>
      </div>
      <h1>${arm?.arm ?? "Unisono"}</h1>
      <nav aria-label="Pages">
        ${VIEWS.map(([key, word]) => html`
          <a key=${key} href="#${key}" aria-current=${view === key ? "page" : undefined}>${word}</a>`)}
      </nav>
      <${Control} control=${arm?.control} you=${you} role=${role} gone=${gone} act=${act} />
      <div id="drivers" class="drivers" hidden=${!more}>
        <p><strong>A raised arm may fall when its drivers are off.</strong> Support it first; keep
          hands out from under it.</p>
        <button class="grave" onClick=${() => stop("stop-and-release")}>Stop, then drivers off</button>
        <button class="grave" onClick=${() => stop("release")}>Drivers off at once</button>
        <button class="plain" onClick=${() => setMore(false)}>Leave them on</button>
      </div>
    </header>`;
}

const DONE = {
  "stop": "Stop is sent. Once all joints rest, the next command that moves the arm lifts it.",
  "stop-and-release": "Stop is sent; the drivers go off once the arm rests.",
  "release": "The drivers are told to go off at once.",
};

// With the next load the page asks for the token again.
async function logOut() {
  await ask("DELETE", "/session");
  location.reload();
}

// Who commands motion, where the coordinator says so.
function Control({ control, you, role, gone, act }) {
  if (!control || gone) return null;
  const watches = role === "watch";
  const mine = control.holder != null && control.holder === you;
  const who = mine ? "You command" : control.holder == null ? "Nobody commands" : `${control.name ?? "Another"} commands`;
  const others = Math.max(0, (control.watchers ?? 1) - 1);
  return html`
    <div class="control">
      <p role="status">${who}</p>
      <p>${others === 0 ? "nobody else watches" : `${others} other${others > 1 ? "s" : ""} watch${others > 1 ? "" : "es"}`}</p>
      ${mine && html`<button class="plain" onClick=${() => act(() => post("/control/release"))}>Give back</button>`}
      ${watches && html`<p>this page may watch, hold and stop</p>`}
      ${location.protocol === "https:" && html`
        <button class="plain" onClick=${() => act(logOut)}>Log out</button>`}
      ${!watches && !mine && control.holder != null && html`
        <button class="plain" onClick=${() => act(() => post("/control/take"), "You have control. What moved was told to come to rest.")}>
          Take over</button>`}
    </div>`;
}
