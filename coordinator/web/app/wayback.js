// The way back to where a run would go on, after a stop, a lost link or a restart.

import { html } from "htm/preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { get } from "./api.js";
import { listed } from "./figures.js";
import { GoTo, Way } from "./goto.js";
import { Press } from "./press.js";
import { WORDS } from "./switches.js";

/** Below the report of a run that did not finish; nothing for one that did. To be keyed by the run. */
export function WayBack({ report, model, gone, going, act }) {
  const [line, setLine] = useState(report.line ?? "");
  const [way, setWay] = useState(null);
  const asked = useRef(null); // the line, null once another one is written
  const write = (text) => {
    setLine(text);
    setWay(null);
    asked.current = null;
  };
  useEffect(() => write(report.line ?? ""), [report.line]);
  if (model.arm.run || report.outcome === "finished") return null;
  const known = Number.isInteger(Number(line)) && line >= 1;
  const look = () => act(async () => {
    asked.current = line;
    const found = await get(`/runs/${report.run}/way?from_line=${line}`);
    if (asked.current === line) setWay(found);
  });
  const goes = way !== null && Object.keys(way.angles_deg).length > 0;
  const on = Object.keys(WORDS).filter((name) => report[name]).map((name) => WORDS[name]);
  return html`
    <h3>Way back to run ${report.run}, ${report.name}</h3>
    <p class="small">${report.line == null ? "In which line it was is not known."
      : `It was last in line ${report.line}; after a crash of the coordinator it may have come further.`}
      ${" "}Joints that are not homed must be homed first.</p>
    <div class="row back">
      <label>To the beginning of line <input type="number" min="1" value=${line} aria-invalid=${!known}
        onInput=${(event) => write(event.target.value)} /></label>
      <${Press} off=${gone || !known} press=${look}>Show the way<//>
      ${!known && html`<span class="small" role="status">A line is a whole number from 1 on.</span>`}
    </div>
    <p role="status">${way && (goes
      ? "Each joint goes its own way, slowly: look first what stands between."
      : `Line ${way.line} begins from wherever the arm stands: there is no way to go.`)}</p>
    ${goes && html`
      <${Way} joints=${model.arm.joints} angles_deg=${way.angles_deg} />
      <p><${GoTo} going=${going} place=${{ angles_deg: way.angles_deg }} told name=${`line ${way.line} of run ${report.run}`}
        off=${gone} /></p>
      <p class="small">Once there, <a href="#play">play</a> it with <em>From line</em> ${way.line}${
        on.length > 0 ? `, and with ${listed(on)} on as in that run` : ""}: it goes on from there; joints with an approach side
        first turn beyond it and back, and it pauses. From anywhere else it first goes there slowly by itself, and pauses.</p>`}`;
}
