// The way back to where a run would go on, after a stop, a lost link or a restart.

import { html } from "htm/preact";
import { useEffect, useState } from "preact/hooks";
import { get } from "./api.js";
import { GoTo, Way } from "./goto.js";
import { Press } from "./press.js";

/** Below the report of a run that did not finish; nothing for one that did. */
export function WayBack({ report, model, gone, going, act }) {
  const [line, setLine] = useState(report.line ?? "");
  const [way, setWay] = useState(null);
  useEffect(() => {
    setLine(report.line ?? "");
    setWay(null);
  }, [report.run, report.line]);
  if (model.arm.run || report.outcome === "finished") return null;
  const look = () => act(async () => setWay(await get(`/runs/${report.run}/way${line ? `?from_line=${line}` : ""}`)));
  return html`
    <h3>Way back</h3>
    <p class="small">${report.line == null ? "In which line it was is not known."
      : `It was last in line ${report.line}; after a crash of the coordinator it may have come further.`}
      ${" "}Joints that are not homed must be homed first.</p>
    <div class="row">
      <label>To the beginning of line <input type="number" min="1" value=${line}
        onInput=${(event) => { setLine(event.target.value); setWay(null); }} /></label>
      <${Press} off=${gone} press=${look}>Show the way<//>
    </div>
    ${way && (Object.keys(way.angles_deg).length === 0
      ? html`<p role="status">It begins there from wherever the arm stands: there is no way to go.</p>`
      : html`
        <${Way} joints=${model.arm.joints} angles_deg=${way.angles_deg} />
        <p>Each joint goes its own way, slowly: look first what stands between.
          ${" "}<${GoTo} going=${going} place=${{ angles_deg: way.angles_deg }} name=${`line ${way.line}`} off=${gone} /></p>
        <p class="small">Once there, <a href="#play">play</a> it with <em>From line</em> ${way.line}: it goes on at once, without
          a pause. From anywhere else it first goes there slowly by itself, and pauses.</p>`)}`;
}
