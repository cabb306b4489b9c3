// Asks for the token where the coordinator wants one.

import { html } from "htm/preact";
import { useState } from "preact/hooks";
import { post, Refusal } from "./api.js";

/** A field for the token; `done` once it was taken. */
export function Login({ done }) {
  const [token, setToken] = useState("");
  const [wrong, setWrong] = useState("");
  const send = async (event) => {
    event.preventDefault();
    try {
      await post("/session", { token: token.trim() });
      done();
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      setWrong(error.message);
    }
  };
  return html`
    <section class="login" aria-label="Token">
      <form class="card" onSubmit=${send}>
        <label class="block">Token, as the coordinator showed it at its first start
          <input type="password" autocomplete="current-password" required value=${token}
            onInput=${(event) => setToken(event.target.value)} /></label>
        <p class="row"><button class="main">Go on</button></p>
        <p role="alert">${wrong}</p>
      </form>
    </section>`;
}
