// Records: what was played, newest first, and each run's report.

import { html } from "htm/preact";
import { useEffect, useState } from "preact/hooks";
import { get } from "./api.js";
import { dateTime, Report } from "./report.js";

/** The list, with the report of the run that was chosen. */
export function Records({ model, act }) {
  const [runs, setRuns] = useState(null);
  const [report, setReport] = useState(null);
  const going = model.arm.run?.number ?? null;
  useEffect(() => {
    act(async () => setRuns((await get("/runs")).runs.reverse()));
  }, [going]);
  const choose = (run) => act(async () => setReport(await get(`/runs/${run}/report`)));
  return html`
    <section class="card" aria-label="Runs">
      <h2>Runs</h2>
      ${runs === null ? html`<p>Asking.</p>` : runs.length === 0 ? html`<p>Nothing was played yet.</p>` : html`
        <ul class="runs">${runs.map((one) => html`
          <li key=${one.run}>
            <button class="plain" aria-pressed=${report?.run === one.run} onClick=${() => choose(one.run)}>
              Run ${one.run}, ${one.name}</button>
            <span>${one.outcome}</span> <span class="small">${dateTime(one.began_utc)}</span>
          </li>`)}</ul>`}
    </section>
    ${report && html`<section class="card" aria-label="Report"><${Report} report=${report} /></section>`}`;
}
