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
    const found = await question();
    if (asked.current === mine) setTold(found);
  });
  useEffect(() => {
    asked.current = name;
    setTold(null);
    if (name) load(() => get(pathOf(name)));
  }, [name, firmware]);
  const done = (step, body) => load(() => post(`${pathOf(name)}/${step}`, body));
  return html`
    <section class="card" aria-label="Step by step">
      <h2>A joint, step by step</h2>
      <p class="small">Each step is kept as it is done: break off whenever you like. After a swap of its controller, its firmware or a figure of the arm
        file, the steps that depend on it are asked for again.</p>
      <p class="row"><label>Joint <select value=${name} onChange=${(event) => setName(event.target.value)}>
        <option value="">choose one</option>
        ${arm.joints.map((one) => html`<option key=${one.name} value=${one.name}>${one.name}</option>`)}
      </select></label>
      ${told && html`<a href=${`/api/v1${pathOf(name)}/sheet`} download=${`bring-up-${name}.html`}>Sheet of ${name} to print</a>`}</p>
      ${told && html`
        <p role="status" class=${told.complete ? "" : "bad"}>${told.complete
          ? `Every step of ${name} is done.` : `${name} is not brought up: do not play a program with it.`}</p>
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
                html`<li key=${what}>${what}: ${value === null ? "not known" : String(value)}</li>`)}</ul></details>`}
          </li>`)}</ol>`}
    </section>`;
}

// What is to be done now, and what somebody who did it says.
function Next({ name, step, gone, act, done }) {
  const [answer, setAnswer] = useState("");
  const [commanded, setCommanded] = useState("");
  const [measured, setMeasured] = useState("");
  const lacks = (step.answers.length > 0 && answer === "")
    || (step.measures && !(isNumber(commanded) && isNumber(measured)));
  const send = () => done(step.step, {
    answer: answer || null,
    commanded_deg: step.measures ? Number(commanded) : null,
    measured_deg: step.measures ? Number(measured) : null,
  });
  return html`
    <p>${step.todo}</p>
    <p class="caution">${step.caution}</p>
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
      <${Press} off=${gone || lacks} press=${send}>${step.title}: this is done<//>
    </p>`;
}

const isNumber = (text) => text.trim() !== "" && Number.isFinite(Number(text));
const pathOf = (name) => `/joints/${encodeURIComponent(name)}/bring-up`;
