// Sound and notifications for alarms, for whoever works beside the page: off until somebody turns
// them on, and only while the page is open. What is silent is no proof that all is well.

import { html } from "htm/preact";
import { closed } from "./api.js";
import { isUnseen, priority } from "./alarms.js";

const HZ = 880;
const BEEP_S = 0.18;
const APART_S = 0.3;
const BEEPS = { high: 3, medium: 2, low: 1 };
const ORDER = ["high", "medium", "low"];

/**
 * What is to be signalled: alarms that began since the last look, over by now or not, and that nobody has
 * acknowledged or shelved, and that the coordinator is not heard any more. `known` is what was seen before: a set of
 * keys, changed here. Numbers begin anew with each coordinator, so its session is part of the key.
 */
export function news(known, arm, gone) {
  if (gone || !arm) {
    const isNew = !known.has("gone");
    known.add("gone");
    return isNew && arm ? [{ gone: true, priority: "high" }] : [];
  }
  const first = !known.has("looked");
  known.add("looked");
  known.delete("gone");
  // One that was over before this page heard of it is new all the same.
  const told = [...(arm.warnings ?? []).filter(isUnseen), ...(arm.alarms?.returned ?? [])];
  const unseen = new Map(told.map((one) => [`${arm.session} ${one.id}`, one]));
  const found = [...unseen].filter(([key]) => !known.has(key)).map(([, one]) => one);
  for (const key of known) if (key.includes(" ") && !unseen.has(key)) known.delete(key);
  for (const key of unseen.keys()) known.add(key);
  return first ? [] : found;
}

/** `changed()` is called after a change. */
export function makeSignals({ changed }) {
  const known = new Set();
  const signals = { sound: false, notes: false, trouble: "" };
  let audio = null;

  signals.hear = (arm, gone) => {
    const found = news(known, arm, gone);
    if (found.length === 0) return;
    if (signals.sound) sound(Math.max(...found.map((one) => BEEPS[priority(one)] ?? 1)));
    if (signals.notes) notify(found);
  };

  signals.toggleSound = async () => {
    signals.trouble = "";
    if (signals.sound) {
      signals.sound = false;
    } else {
      audio ??= new AudioContext();
      await audio.resume();
      signals.sound = true;
      beep(1); // so that it was heard once
    }
    changed();
  };

  signals.toggleNotes = async () => {
    signals.trouble = "";
    if (signals.notes) {
      signals.notes = false;
    } else if (typeof Notification === "undefined") {
      signals.trouble = "This browser gives no notifications here.";
    } else if (await Notification.requestPermission() === "granted") {
      signals.notes = true;
    } else {
      signals.trouble = "This browser was told to give no notifications of this page; its settings can change that.";
    }
    changed();
  };

  // A browser may silence a page that nobody touched for long, or a call may; then nothing is heard.
  function sound(times) {
    beep(times);
    if (audio.state === "running") return;
    signals.sound = false;
    signals.trouble = "This browser has silenced the sound of this page: turn it on again.";
    changed();
  }

  function beep(times) {
    for (let k = 0; k < times; k += 1) {
      const from = audio.currentTime + k * APART_S;
      const [tone, loudness] = [audio.createOscillator(), audio.createGain()];
      tone.frequency.value = HZ;
      loudness.gain.setValueAtTime(0.2, from);
      loudness.gain.setTargetAtTime(0, from + BEEP_S - 0.03, 0.01); // no click at its end
      tone.connect(loudness).connect(audio.destination);
      tone.start(from);
      tone.stop(from + BEEP_S);
    }
  }

  function notify(found) {
    const [most] = [...found].sort((a, b) => ORDER.indexOf(priority(a)) - ORDER.indexOf(priority(b)));
    const more = found.length > 1 ? ` And ${found.length - 1} more.` : "";
    const text = most.gone ? "This page does not hear the coordinator: alarms are not told here any more."
      : `${closed(most.message)}${more}`;
    try {
      new Notification(most.gone ? "Unisono: not heard" : `Unisono: ${most.joint}, ${priority(most)} priority`, { body: text });
    } catch {
      // Some browsers of phones give them to service workers alone; that they will not come must be said.
      signals.notes = false;
      signals.trouble = "This browser gives no notifications here.";
      changed();
    }
  }
  return signals;
}

/** The two switches. */
export const Signals = ({ signals }) => html`
  <p class="signals">
    <button class="plain" aria-pressed=${signals.sound} onClick=${signals.toggleSound}>Sound for new alarms</button>
    <button class="plain" aria-pressed=${signals.notes} onClick=${signals.toggleNotes}>Notifications of new alarms</button>
    <span class="small">${signals.sound || signals.notes
      ? "Only while this page is open. Silence is no proof that all is well." : ""}</span>
    <span class="small" role="status">${signals.trouble}</span>
  </p>`;
