// What was taught, as this page knows it, and how it asks for changes.

import { ask, file, get, post, Refusal } from "./api.js";

const CHOSEN = "unisono-sequence";

/**
 * `changed()` is called after every change. Whoever edits names the revision that was shown: where
 * another has edited meanwhile, nothing is changed, what holds is shown, and `act` says so.
 */
export function makeTaught({ act, changed }) {
  const taught = { now: null, trouble: null, chosen: Number(sessionStorage.getItem(CHOSEN)) || null, loud: false };
  let asked;

  const take = (now) => {
    // An older answer that comes later is passed over.
    if (taught.now === null || now.revision >= taught.now.revision) taught.now = now;
    changed();
    return true;
  };

  /** The feed told a revision: fetch what holds, once. */
  taught.look = async (revision) => {
    if (taught.now?.revision === revision || asked === revision) return;
    asked = revision;
    await taught.ask();
    asked = undefined;
  };

  taught.ask = async () => {
    try {
      take(await get("/taught"));
      taught.trouble = null;
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      taught.trouble = error.message;
      changed();
    }
  };

  const change = (method, path, body, done, revision = taught.now.revision) => act(async () => {
    try {
      take(await ask(method, path, { revision, ...body }));
    } catch (error) {
      if (error instanceof Refusal && error.code === "taught-changed") taught.ask();
      throw error;
    }
  }, done);

  /** The sequence that people look at, null where there is none. */
  taught.sequence = () =>
    taught.now?.sequences.find((one) => one.id === taught.chosen) ?? taught.now?.sequences[0] ?? null;
  taught.choose = (id) => {
    taught.chosen = id;
    sessionStorage.setItem(CHOSEN, id);
    changed();
  };

  /** Record the place where the arm stands, at the end of that sequence. Whether that was done. */
  taught.record = async (name = "") => {
    const sequence = taught.sequence();
    if (sequence === null) {
      return act(() => Promise.reject(new Refusal("There is no sequence to record into: add one first.")));
    }
    const done = `Recorded at place ${sequence.visits.length + 1} of ${sequence.name}.`;
    if (!await taught.edit({ type: "record", sequence: sequence.id, name }, done)) return false;
    if (taught.loud) sound();
    return true;
  };

  taught.edit = (edit, done = null) => change("POST", "/taught/edits", { edit }, done);
  taught.undo = () => change("POST", "/taught/undo", {}, `Undone: ${taught.now.undo}.`);
  taught.redo = () => change("POST", "/taught/redo", {}, `Done again: ${taught.now.redo}.`);
  /** `revision`: of when the text was begun, so that what another did since is not overwritten. */
  taught.write = (sequence, text, revision) =>
    change("PUT", `/taught/sequences/${sequence}/program`, { text }, "The program is written.", revision);

  /** A sequence as a program, now or as it was after a change. */
  taught.program = (sequence, at = null) =>
    file(`/api/v1/taught/sequences/${sequence}/program${at === null ? "" : `?change=${at}`}`);
  /** The text of a program that is kept, now or as it was after a change. */
  taught.text = (program, at = null) =>
    file(`/api/v1/taught/programs/${program}/text${at === null ? "" : `?change=${at}`}`);
  /** What was changed of a sequence or program, newest first, before a change if any. */
  taught.changes = async (id, before, limit) =>
    (await get(`/taught/changes?sequence=${id}&limit=${limit}${before === null ? "" : `&before=${before}`}`)).changes;
  /** The newest run of each that was played. */
  taught.results = async () => (await get("/taught/results")).runs;
  taught.check = async (text) => (await post("/taught/check", { text })).errors;
  taught.preview = (shift) => post("/taught/shift", { shift });
  return taught;
}

// A short tone: whoever looks at the arm hears that it was taken.
function sound() {
  const context = new AudioContext();
  const tone = context.createOscillator();
  const volume = new GainNode(context, { gain: 0.1 });
  tone.frequency.value = 880;
  tone.connect(volume).connect(context.destination);
  tone.onended = () => context.close();
  tone.start();
  tone.stop(context.currentTime + 0.12);
}

/** The waypoint that a visit goes to. */
export const waypointOf = (now, visit) => now.waypoints.find((one) => one.id === visit.waypoint);
