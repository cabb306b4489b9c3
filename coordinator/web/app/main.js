// The page: what is known comes in by the feed and is drawn anew with each message.

import { html, render } from "htm/preact";
import { get, Refusal } from "./api.js";
import { follow } from "./feed.js";
import { Header } from "./header.js";
import { Login } from "./login.js";
import { Play } from "./play.js";
import { Records } from "./records.js";
import { armNow, isBusy, isGone, nothing } from "./state.js";
import { show } from "./strip.js";
import { unconfirmed, Unstopped } from "./unstopped.js";
import { Watch } from "./watch.js";

const LOOK_MS = 200; // for the age of data while nothing is heard
const root = document.getElementById("page");
const page = { model: nothing(), said: null, open: new Set(), ended: null, you: null,
  role: null, needsToken: false, seenRun: null, acts: 0, saidOf: 0, unstopped: new Map() };

/** Do what somebody asked for; say in words what went wrong. Whether it was done. */
async function act(work, done = null) {
  const number = ++page.acts;
  // What was asked for earlier and ends later does not wipe what was said since.
  const tell = (sentence, bad) => number >= page.saidOf && say(sentence, bad, number);
  try {
    await work();
    tell(done, false);
    return true;
  } catch (error) {
    if (!(error instanceof Refusal)) throw error;
    if (error.code === "token") page.needsToken = true;
    tell(error.message, true);
    return false;
  }
}

function say(sentence, bad, number) {
  page.saidOf = number;
  page.said = sentence ? { sentence, bad } : null;
  draw();
}

function draw() {
  const ms = performance.now();
  const gone = isGone(page.model, ms);
  page.unstopped = unconfirmed(page.unstopped, page.model.arm?.joints ?? [], ms);
  const view = location.hash.slice(1).split("/")[0] || "watch";
  // What is shown while the coordinator is gone is of then; its age goes on.
  const nowUs = page.model.arm === null ? 0 : armNow(page.model, ms);
  render(html`<${Page} page=${page} view=${view} gone=${gone} nowUs=${nowUs} ms=${ms} />`, root);
  show(page.model);
}

function Page({ page, view, gone, nowUs, ms }) {
  const { model, said, open, ended, you, role, needsToken, unstopped } = page;
  const pages = { watch: Watch, play: Play, records: Records };
  const View = pages[view] ?? Watch;
  return html`
    <${Header} arm=${model.arm} view=${view} you=${you} role=${role} gone=${gone} act=${act} />
    <main class=${gone ? "gone" : ""} id="main" tabindex="-1">
      <${Outdated} model=${model} />
      <${Gone} model=${model} gone=${gone && !needsToken} ms=${ms} />
      <div class="said" role="alert">
        <${Unstopped} since=${unstopped} joints=${model.arm?.joints ?? []} nowUs=${nowUs} ms=${ms} />
        ${said && html`<p class=${said.bad ? "bad" : ""}>${said.sentence}
          <button class="plain" onClick=${() => say(null, false, page.acts)}>Close</button></p>`}
      </div>
      ${needsToken ? html`<${Login} done=${() => location.reload()} />` : model.arm
        ? html`<${View} model=${model} nowUs=${nowUs} gone=${gone} open=${open} toggle=${toggle}
            ended=${ended} close=${closeReport} act=${act} />`
        : !gone && html`<p>Asking the coordinator for the arm.</p>`}
    </main>`;
}

function Gone({ model, gone, ms }) {
  const since = model.heardMs === null ? null : Math.floor((ms - model.heardMs) / 1000);
  return html`
    <div role="status">
      ${gone && html`<div class="lost"><strong>This page does not hear the coordinator.</strong> <span aria-hidden="true">${
        since === null ? "Nothing was heard from it yet." : `Nothing heard for ${since} s.`}</span> ${
        since !== null && "What is shown is old, and the arm may still move."
      } This page goes on trying.</div>`}
    </div>`;
}

const loaded = { version: null };

function Outdated({ model }) {
  loaded.version ??= model.version;
  if (loaded.version === model.version) return null;
  return html`
    <div class="lost" role="status">
      Reload: the page is older than the coordinator.
      <button class="plain" onClick=${() => location.reload()}>Reload</button>
    </div>`;
}

function toggle(name) {
  if (!page.open.delete(name)) page.open.add(name);
  draw();
}

function closeReport() {
  page.ended = null;
  draw();
}

// A run that was there and is there no more has ended: its report is shown.
async function lookForEnd(arm) {
  const going = arm.run?.number ?? null;
  const before = page.seenRun;
  page.seenRun = going;
  if (going !== null && going !== before) page.ended = null;
  if (before === null || going === before) return;
  try {
    page.ended = await get(`/runs/${before}/report`);
    draw();
  } catch (error) {
    if (!(error instanceof Refusal)) throw error;
  }
}

async function lookForAccess() {
  try {
    page.role = (await get("/session")).role;
    page.needsToken = page.role === null;
  } catch (error) {
    if (!(error instanceof Refusal)) throw error;
  }
  draw();
  if (!page.needsToken) lookWhoIAm();
}

async function lookWhoIAm() {
  try {
    page.you = (await get("/control")).you ?? null;
    draw();
  } catch (error) {
    if (!(error instanceof Refusal)) throw error;
  }
}

function told(model) {
  page.model = model;
  lookForEnd(model.arm);
  draw();
}

function lost(model) {
  page.model = model;
  lookForAccess();
  draw();
}

addEventListener("hashchange", () => {
  draw();
  document.getElementById("main")?.focus({ preventScroll: true });
  scrollTo(0, 0);
});
addEventListener("visibilitychange", draw);
setInterval(() => {
  if (!isBusy(page.model.arm) || isGone(page.model, performance.now())) draw();
}, LOOK_MS);
// Whoever lacks a token would only be refused.
lookForAccess().finally(() => follow(page.model, told, lost, () => !page.needsToken));
