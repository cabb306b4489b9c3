// The page: what is known comes in by the feed and is drawn anew with each message.

import { html, render } from "htm/preact";
import { get, leave, post, Refusal, sentence } from "./api.js";
import { Band, tooLate, unconfirmed } from "./band.js";
import { BringUp } from "./bringup.js";
import { Commands } from "./commands.js";
import { follow } from "./feed.js";
import { keepFocus } from "./focus.js";
import { makeGoing } from "./going.js";
import { makeHand } from "./hand.js";
import { Header, takeControl } from "./header.js";
import { History } from "./history.js";
import { isAltered, isKey } from "./keys.js";
import { isText, KeysList, makeKeysList } from "./keyslist.js";
import { Login } from "./login.js";
import { makePad } from "./padhand.js";
import { Play } from "./play.js";
import { Records } from "./records.js";
import { armNow, isBusy, isGone, nothing } from "./state.js";
import { makeSignals } from "./signals.js";
import { show } from "./strip.js";
import { makeTaught } from "./taught.js";
import { Teach } from "./teach.js";
import { Watch } from "./watch.js";

const LOOK_MS = 200; // for the age of data while nothing is heard
const root = document.getElementById("page");
const page = { model: nothing(), said: null, open: new Set(), ended: null, you: null,
  role: null, needsToken: false, seenRun: null, acts: 0, saidOf: 0, unstopped: new Map(),
  holder: null, lostTo: null, givesBack: false, undelivered: null, jogs: false, drawn: null };

let wish = () => false;
const hand = makeHand({
  feed: { wish: (message) => wish(message) },
  armUs: () => armNow(page.model, performance.now()),
  joint: (name) => page.model.arm.joints.find((one) => one.name === name),
  changed: drawSoon,
  say: (text, code) => say(sentence(text), true, ++page.acts, code),
});
hand.pad = makePad({
  hand, may: mayJog, changed: drawSoon, record: () => viewed() === "teach" && taught.record(),
  names: () => page.model.arm?.joints.map((one) => one.name) ?? [],
});

// Whoever does not see the jog's own part of the page jogs nothing by it.
function mayJog() {
  const shown = viewed() === "teach" || (viewed() === "watch" && page.jogs);
  return shown && !keys.open && page.model.arm && !page.model.arm.run
    && !isGone(page.model, performance.now()) && document.visibilityState === "visible" && document.hasFocus();
}

const keys = makeKeysList({ opens: letGo, changed: () => draw() });
const viewed = () => location.hash.slice(1).split("/")[0] || "watch";

const going = makeGoing({
  feed: { wish: (message) => wish(message) },
  armUs: () => armNow(page.model, performance.now()),
  arm: () => page.model.arm,
  changed: () => draw(),
  say: (text) => say(text, true, ++page.acts),
});
const taught = makeTaught({ act, changed: () => draw() });
const signals = makeSignals({ changed: () => draw() });

addEventListener("keydown", (event) => {
  if (viewed() !== "teach" || !keys.byKey || event.repeat || isAltered(event) || isText(event.target)) return;
  if (!isKey("record", event)) return;
  event.preventDefault();
  taught.record();
});

/** Whatever this page holds is let go. */
function letGo() {
  hand.letGo();
  going.letGo();
}

/** Do what somebody asked for; say in words what went wrong. Whether it was done. `stops`: a stop. */
async function act(work, done = null, stops = false) {
  const number = ++page.acts;
  // What was asked for earlier and ends later does not wipe what was said since.
  const tell = (sentence, bad, code) => number >= page.saidOf && say(sentence, bad, number, code);
  try {
    await work();
    if (stops) undelivered(null);
    tell(done, false);
    return true;
  } catch (error) {
    if (!(error instanceof Refusal)) throw error;
    if (error.code === "token") page.needsToken = true;
    // Whatever else is asked for and answered meanwhile, this stays until a stop gets through.
    if (stops) return undelivered(error.message);
    tell(error.message, true, error.code);
    return false;
  }
}

/** A stop that was not delivered is said in a place of its own; null takes it back. */
function undelivered(sentence) {
  page.undelivered = sentence;
  draw();
  return false;
}

function say(sentence, bad, number, code = "") {
  page.saidOf = number;
  page.said = sentence ? { sentence, bad, code } : null;
  draw();
}

function draw() {
  const ms = performance.now();
  const gone = isGone(page.model, ms);
  page.unstopped = unconfirmed(page.unstopped, page.model.arm, ms);
  signals.hear(page.model.arm, gone);
  const view = viewed();
  hand.teaching = view === "teach";
  // What is shown while the coordinator is gone is of then; its age goes on.
  const nowUs = page.model.arm === null ? 0 : armNow(page.model, ms);
  render(html`<${Page} page=${page} view=${view} gone=${gone} nowUs=${nowUs} ms=${ms} />`, root);
  show(page.model);
}

// For what may be let go while the page is being drawn.
function drawSoon() {
  page.drawn ??= Promise.resolve().then(() => {
    page.drawn = null;
    draw();
  });
}

function Page({ page, view, gone, nowUs, ms }) {
  const { model, open, ended, you, role, needsToken, unstopped } = page;
  const pages = { watch: Watch, teach: Teach, play: Play, records: Records, history: History,
    bringup: BringUp };
  const View = pages[view] ?? Watch;
  const late = tooLate(unstopped, ms);
  return html`
    <${Commands} arm=${model.arm} gone=${gone} you=${you} role=${role} going=${going} act=${act}>
      <${Said} page=${page} /><//>
    <${Header} arm=${model.arm} view=${view} you=${you} role=${role} gone=${gone} act=${act} release=${release} keys=${keys} />
    <${KeysList} list=${keys} />
    <${Band} model=${model} gone=${gone} late=${late} needsToken=${needsToken} nowUs=${nowUs} ms=${ms} />
    <main class=${gone ? "gone" : ""} id="main" tabindex="-1">
      <${Outdated} model=${model} />
      ${needsToken ? html`<${Login} done=${() => location.reload()} />` : model.arm
        && html`<${View} model=${model} late=${late} nowUs=${nowUs} gone=${gone} open=${open} toggle=${toggle}
            ended=${ended} close=${closeReport} act=${act}
            hand=${hand} jogs=${page.jogs} jog=${toggleJog} taught=${taught} going=${going} signals=${signals} />`}
    </main>`;
}

// What became of the last command, and who took control: where the thumb is that commanded.
function Said({ page: { said, lostTo, undelivered: unsent, model } }) {
  const holder = model.arm?.control?.holder;
  const take = html`<button class="plain" onClick=${() => takeControl(act, holder)}>${
    holder == null ? "Take control" : "Take over, which holds what moves"}</button>`;
  return html`
    ${unsent && html`<p class="bad"><strong>${unsent}</strong>${" "}
      <button class="plain" onClick=${() => undelivered(null)}>Close</button></p>`}
    ${lostTo && html`<p class="bad"><span>${lostTo}</span>${" "}${take}${" "}
      <button class="plain" onClick=${() => lostControl(null)}>Close</button></p>`}
    ${said && html`<p class=${said.bad ? "bad" : ""}><span>${said.sentence}</span>${" "}
      ${said.code === "control" && !lostTo && take}${" "}
      <button class="plain" onClick=${() => say(null, false, page.acts)}>Close</button></p>`}`;
}

function lostControl(sentence) {
  page.lostTo = sentence;
  draw();
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

function toggleJog() {
  letGo();
  page.jogs = !page.jogs;
  hand.pad.watch(page.jogs);
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

// Who commanded and does so no more, without having given control back, must know.
function lookForControl(control) {
  const [before, now] = [page.holder, control?.holder ?? null];
  page.holder = now;
  if (page.you === null || now === page.you) {
    page.lostTo = null;
  } else if (before === page.you && !page.givesBack) {
    page.lostTo = now === null ? "You do not command any more; the next command takes control again."
      : sentence(`${control.name ?? "another"} commands now, and you do not any more`);
  }
  if (now !== page.you) page.givesBack = false;
}

async function release() {
  page.givesBack = true;
  page.givesBack = await act(() => post("/control/release")) && page.holder === page.you;
}

function told(model) {
  page.model = model;
  lookForControl(model.arm.control);
  lookForEnd(model.arm);
  hand.look(model.arm);
  going.look(model.arm);
  draw();
}

function refused(answer) {
  going.refused();
  hand.refused(answer);
}

function lost(model) {
  page.model = model;
  letGo();
  lookForAccess();
  draw();
}

addEventListener("hashchange", () => {
  letGo();
  draw();
  document.getElementById("main")?.focus({ preventScroll: true });
  scrollTo(0, 0);
});
addEventListener("visibilitychange", () => {
  letGo();
  draw();
});
// Whoever looks elsewhere does not see what the joint does.
addEventListener("blur", letGo);
// A page that is closed gives control back at once.
addEventListener("pagehide", () => {
  letGo();
  if (page.you !== null && page.model.arm?.control?.holder === page.you) leave("/control/release");
});
keepFocus(root, () => document.getElementById("main"));
setInterval(() => {
  if (!isBusy(page.model.arm) || isGone(page.model, performance.now())) draw();
}, LOOK_MS);
// Whoever lacks a token would only be refused.
lookForAccess().finally(() => {
  wish = follow(page.model, { told, lost, refused, may: () => !page.needsToken });
});
