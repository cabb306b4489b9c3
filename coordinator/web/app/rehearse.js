// Rehearse: the program on software joints in virtual time, before anything real moves.

import { html } from "htm/preact";
import { useEffect, useState } from "preact/hooks";
import { ask, closed, get, post, Refusal, sentence } from "./api.js";
import { figure, micros } from "./figures.js";
import { Mistakes } from "./mistakes.js";
import { Press } from "./press.js";
import { switches } from "./switches.js";

const LOOK_MS = 500;
const MOST = 500;
const TELLING = 0.2; // a share that is only known to be below this says little
const NETWORKS = {
  quiet: "quiet: a router of its own",
  home: "home: one used by others now and then",
  busy: "busy: much other traffic",
  hostile: "hostile: the worst that a workshop has",
};

/** What a program would do, said by playing it many times in virtual time. */
export function Rehearse({ program, select, gone, act }) {
  const [network, setNetwork] = useState(null);
  const [repetitions, setRepetitions] = useState(null);
  const [seen, setSeen] = useState(null);
  const [rehearsed, setRehearsed] = useState(null); // { text, on }
  const going = seen?.state === "running";
  const stale = seen !== null && !(rehearsed.text === program.text && rehearsed.on === switches());
  const some = Number.isInteger(Number(repetitions)) && repetitions >= 1 && repetitions <= MOST;

  useEffect(() => {
    chosenLast().then((last) => {
      // Whoever was quicker has chosen already.
      setNetwork((chosen) => chosen ?? last.network);
      setRepetitions((chosen) => chosen ?? last.repetitions);
    });
  }, []);

  useEffect(() => {
    if (!going || gone) return undefined;
    let over = false;
    const timer = setTimeout(async () => {
      const next = await look(seen);
      if (!over) setSeen(next);
    }, LOOK_MS);
    return () => {
      over = true;
      clearTimeout(timer);
    };
  }, [seen, gone]);

  const begin = () => act(async () => {
    const [{ name, text }, on] = [program, switches()];
    const { rehearsal } = await post("/rehearsals",
      { name: name || "program", text, network, repetitions: Number(repetitions), ...on });
    const begun = await get(`/rehearsals/${rehearsal}`);
    setRehearsed({ text, on });
    setSeen(begun);
  });
  const cancel = () => act(async () =>
    setSeen(await ask("DELETE", `/rehearsals/${seen.rehearsal}`)));
  return html`
    <section class="card rehearse" aria-label="Rehearse">
      <h2>Rehearse</h2>
      <p class="small">Plays the program on software joints, faster than real time. Nothing real moves.
        It begins at the pose park, and is as true as the arm file and the network chosen here.</p>
      <p class="row">
        <label>Network <select value=${network} onChange=${(event) => setNetwork(event.target.value)}>
          ${Object.entries(NETWORKS).map(([name, words]) => html`<option key=${name} value=${name}>${words}</option>`)}
        </select></label>
        <label>Times <input type="number" min="1" max=${MOST} value=${repetitions} aria-invalid=${!some}
          onInput=${(event) => setRepetitions(event.target.value)} /></label>
        ${repetitions !== null && !some && html`<span role="alert">Times is ${repetitions === "" ? "empty" : repetitions}, but must be 1 to ${MOST}.</span>`}
      </p>
      <p class="row">
        <${Press} off=${!program.text.trim() || gone || going || !network || !some} press=${begin}>Rehearse<//>
        ${going && html`<progress max=${seen.of} value=${seen.done}
            aria-label="Rehearsals done"></progress> <span>${seen.done} of ${seen.of}</span>
          <button class="plain" onClick=${cancel}>Cancel</button>`}
      </p>
      <div role="status">${stale ? html`<p>What was rehearsed is not the program with the switches above: it was changed since.</p>`
        : seen && !going && html`<p>${outcome(seen)}</p>`}</div>
      ${!stale && seen?.errors?.length > 0 && html`
        <ul class="problems"><${Mistakes} mistakes=${seen.errors} select=${select} /></ul>`}
      ${!stale && seen?.summary && html`<${Summary} seen=${seen} />`}
    </section>`;
}

async function chosenLast() {
  try {
    return await get("/rehearsals");
  } catch (error) {
    if (!(error instanceof Refusal)) throw error;
    return { network: "home", repetitions: 20 };
  }
}

// Nobody asked for this look: what fails is not said to the page, and is tried again.
async function look(seen) {
  try {
    return await get(`/rehearsals/${seen.rehearsal}`);
  } catch (error) {
    if (!(error instanceof Refusal)) throw error;
    // A coordinator that was started anew knows nothing of it.
    if (error.code === "not-found") {
      return { ...seen, state: "failed", message: "the coordinator was started anew meanwhile" };
    }
    return { ...seen };
  }
}

function outcome(seen) {
  if (seen.state === "failed") return sentence(seen.message);
  return `${seen.state === "cancelled" ? "Cancelled" : "Done"}: ${seen.done} of ${seen.of} rehearsals.`;
}

function Summary({ seen: { summary, joints, rehearsal, state, fitted_hops, highest_temperature_c, heat } }) {
  const failed = summary.not_at_once;
  return html`
    <ul class="facts">
      <li><strong>Ends</strong>: ${Object.entries(summary.outcomes).map(([what, count]) => `${count} ${what}`).join(", ")}.</li>
      <li><strong>Duration</strong>: ${seconds(summary.duration_us?.p50)} (p50), ${seconds(summary.duration_us?.p99)} (p99),
        after ${seconds(summary.wait_us?.p50)} from the command to the start.</li>
      <li><strong>Starts</strong>: ${micros(summary.start_skew_us?.p50)} apart (p50), ${micros(summary.start_skew_us?.p99)} (p99);
        ${" "}${failed.of - failed.count} of ${failed.of} at the first try,
        ${" "}${failed.at_most <= TELLING ? `under ${figure(failed.at_most * 100, 1, "%")} need more (95 % sure).`
          : "too few rehearsals to tell how rare others are."}</li>
      <li><strong>Holds</strong>: ${summary.holds === 0 ? "none" : `${summary.holds}, ${figure(summary.holds_per_run, 2, "")} a run`}.</li>
      <li><strong>Supply</strong>: what joints draw is assumed but for their currents; hop resistances are
        ${" "}${fitted_hops?.length ? `fitted to ${fitted_hops.join(", ")}, else the arm file's` : "the arm file's, none is fitted"}.</li>
      ${heat && html`<li><strong>Highest temperature</strong>: ${closed(heat.replace(/^highest temperature: /, ""))}</li>`}
    </ul>
    <div class="scroll" tabindex="0" role="region" aria-label="What is asked of each joint">
      <table>
        <thead><tr><th scope="col">joint</th><th scope="col">start margin, 99 % have</th><th scope="col">off its instant, 99 %</th>
          <th scope="col">buffer margin</th><th scope="col">lowest supply</th><th scope="col">highest temperature</th>
          <th scope="col">speed / limit</th><th scope="col">acceleration / limit</th></tr></thead>
        <tbody>${joints.map((joint) => html`<tr key=${joint.name}><th scope="row">${joint.name}</th>
          <td>${micros(summary.start_margin_us[joint.name]?.p01)}</td><td>${micros(summary.off_us[joint.name]?.p99)}</td>
          <td>${micros(summary.buffer_margin_us[joint.name])}</td>
          <td>${figure(summary.lowest_supply_v?.[joint.name], 1, "V")}</td><td>${within(highest_temperature_c?.[joint.name])}</td>
          <td>${peak(joint.velocity, "°/s")}</td><td>${peak(joint.acceleration, "°/s²")}</td></tr>`)}
        </tbody>
      </table>
    </div>
    ${state !== "running" && html`<img class="plot" src="/api/v1/rehearsals/${rehearsal}/plot"
      alt="Start skew, start margin and speeds of the rehearsals, as in the list and the table above" />`}`;
}

const seconds = (us) => figure(us == null ? null : us / 1e6, 1, "s");
const within = (one) => one ? `${figure(one.value, 1, "")} (${figure(one.low, 1, "")} to ${figure(one.high, 1, "°C")})` : figure(null, 1, "°C");
const peak = (one, unit) => `${figure(one.value, 1, "")} / ${figure(one.limit, 0, unit)}`;
