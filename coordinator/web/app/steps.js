// The bring-up of one joint as a list: what was done, what comes next with its caution, and its sheet.

import { html } from "htm/preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { get, post } from "./api.js";
import { Press } from "./press.js";

const WORDS = { done: "Done", next: "Next", waits: "To be done" };

/** A joint is chosen here; nothing moves by it, and whatever is done is kept at once. */
export function Steps({ arm, gone, act }) {
  const [name, setName] = useState("");
  const [told, setTold] = useState(null);
  const asked = useRef("");
  const joint = arm.joints.find((one) => one.name === name) ?? null;
  const firmware = joint?.firmware ?? null;
  // Of the joint that was chosen last, whichever answer comes first.
  const load = (question) => act(async () => {
    const mine = asked.current = name;
    const show = async (ask) => { const found = await ask(); if (asked.current === mine) setTold(found); };
    try {
      await show(question);
    } catch (error) {
      if (error.code === "bring-up-not-so") await show(() => get(pathOf(name))); // what somebody saw may have taken a step back
      throw error;
    }
  });
  useEffect(() => {
    asked.current = name;
    setTold(null);
  }, [name]);
  // A coordinator that comes back may have another arm file, with which less of it counts.
  useEffect(() => {
    if (name && !gone) load(() => get(pathOf(name)));
  }, [name, firmware, joint?.id, gone]);
  const done = (step, body) => load(() => post(`${pathOf(name)}/${step}`, body));
  return html`
    <section class="card brought" aria-label="Step by step">
      <h2>A joint, step by step</h2>
      <p class="small">Each step is kept as it is done: break off whenever you like. After a swap of its controller, its firmware or a figure of the arm
        file, the steps that depend on it are asked for again.</p>
      <p class="row"><label>Joint <select value=${name} onChange=${(event) => setName(event.target.value)}>
        <option value="">choose one</option>
        ${arm.joints.map((one) => html`<option key=${one.name} value=${one.name}>${one.name}</option>`)}
      </select></label>
      ${told && html`<a href=${`/api/v1${pathOf(name)}/sheet`} download=${`bring-up-${name}.html`}>Sheet of ${name} to print</a>`}</p>
      ${told && html`
        <p class="small">Number ${told.place} from the base, controller ${told.controller}, firmware ${told.firmware ?? "not known"}.</p>
        <p role="status" class=${told.complete ? "" : "bad"}>${told.complete
          ? `Every step of ${name} is done.` : `${name} is not brought up: do not play a program with it.`}</p>
        ${told.exchanged && html`<p class="bad">${told.exchanged} was identified with the controller ${told.controller} before: two joints may have changed
          places, or their ids in the arm file. See which one stands there before anything moves.</p>`}
        ${told.other_controller && html`<p>The controller before was ${told.other_controller}. If it alone was changed, and motor, gear and
          housing are those of before, say so first: ${" "}
          <${Press} name="plain" off=${gone} press=${() => done("controller-only", {})}>Only the controller was changed<//></p>`}
        <ol class="steps">${told.steps.map((one) => html`
          <li key=${one.step} aria-current=${one.state === "next" ? "step" : null}>
            <p><strong>${one.title}</strong>: ${WORDS[one.state] ?? one.state}${one.done_utc
              ? `, last ${one.done_utc.slice(0, 16).replace("T", " ")} UTC by ${one.who}` : ""}</p>
            ${one.because.map((why) => html`<p class="bad small" key=${why}>Counts no more: ${why}.</p>`)}
            ${one.state === "next" && html`<${Next} key=${one.step} name=${name} step=${one} gone=${gone} act=${act} done=${done} />`}
            ${one.state === "done" && html`<details class="small"><summary>What was found: ${one.title}</summary>
              <ul class="facts">${Object.entries(one.figures).map(([what, value]) =>
                html`<li key=${what}>${what}: ${value === null ? "not known" : String(value)}</li>`)}</ul>
              <p>Do it again, or say what is not so any more:</p>
              <${Next} name=${name} step=${one} gone=${gone} act=${act} done=${done} /></details>`}
          </li>`)}</ol>
        <${Changed} key=${name} name=${name} gone=${gone} done=${done} />`}
    </section>`;
}

// What no step can see; it takes steps back, so it is no single press.
function Changed({ name, gone, done }) {
  return html`
    <details class="small"><summary>Was something changed that shows nowhere?</summary>
      <p>A motor, gear, housing or magnet of ${name} that is another one, with the same controller, shows in no figure. The steps that depend
        on it are asked for again then; what was found stays in its history.</p>
      <p class="row"><${Press} off=${gone} press=${() => done("other-body", {})}>Motor, gear or housing of ${name} was changed<//></p>
    </details>`;
}

// What is to be done, and what somebody who did it says.
function Next({ name, step, gone, act, done }) {
  const [answer, setAnswer] = useState("");
  const [commanded, setCommanded] = useState("");
  const [measured, setMeasured] = useState("");
  const wrong = [commanded, measured].find((text) => text.trim() !== "" && !isNumber(text));
  const lacks = step.answers.length > 0 && answer === "" ? "Say what you saw first."
    : wrong !== undefined ? `${wrong} is no number; one is written 89.5, with a point.`
      : step.measures && !(isNumber(commanded) && isNumber(measured)) ? "Both angles are needed." : "";
  const send = () => done(step.step, {
    answer: answer || null,
    commanded_deg: step.measures ? Number(commanded) : null,
    measured_deg: step.measures ? Number(measured) : null,
  });
  return html`
    <p>${step.todo}</p>
    <p class="caution"><strong>Caution:</strong> ${step.caution}</p>
    <p class="row">
      ${step.step === "identified" && html`<${Press} off=${gone}
        press=${() => act(() => post("/blink", { joint: name }), `The light of ${name} should blink.`)}>Let its light blink<//>`}
      ${step.answers.length > 0 && html`<label>What you saw <select value=${answer} onChange=${(event) => setAnswer(event.target.value)}>
        <option value="">choose</option>
        ${step.answers.map((one) => html`<option key=${one} value=${one}>${one}</option>`)}</select></label>`}
      ${step.measures && html`
        <label>told to turn by, ° <input type="text" inputmode="decimal" size="6" value=${commanded}
          onInput=${(event) => setCommanded(event.target.value)} /></label>
        <label>turned by, ° <input type="text" inputmode="decimal" size="6" value=${measured}
          onInput=${(event) => setMeasured(event.target.value)} /></label>`}
      <${Press} off=${gone || lacks} press=${send}>${step.title}: ${step.answers.length > 0 ? "say so" : "this is done"}<//> <span class="small">${lacks}</span>
    </p>`;
}

const isNumber = (text) => text.trim() !== "" && Number.isFinite(Number(text));
const pathOf = (name) => `/joints/${encodeURIComponent(name)}/bring-up`;
