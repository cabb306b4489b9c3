// Records: what was played, newest first, and each run's report.

import { html } from "htm/preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { get } from "./api.js";
import { dateTime, Report } from "./report.js";
import { WayBack } from "./wayback.js";

const AT_ONCE = 50;

/** The list, with the report of the run that was chosen. */
export function Records({ model, gone, going: ways, act }) {
  const [runs, setRuns] = useState(null);
  const [more, setMore] = useState(false);
  const [report, setReport] = useState(null);
  const asked = useRef(null); // the newest question for a report
  const going = model.arm.run?.number ?? null;
  useEffect(() => {
    act(() => load([], ""));
    if (asked.current) choose(asked.current.run); // it may be the one that has ended
  }, [going]);
  const load = async (before, query) => {
    const { runs: next } = await get(`/runs?limit=${AT_ONCE}${query}`);
    setRuns([...before, ...next]);
    setMore(next.length === AT_ONCE);
  };
  const older = () => act(() => load(runs, `&before=${runs.at(-1).run}`));
  const choose = (run) => act(async () => {
    const mine = asked.current = { run };
    const found = await get(`/runs/${run}/report`);
    if (asked.current === mine) setReport(found);
  });
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
      ${more && html`<button class="plain" onClick=${older}>Older runs</button>`}
    </section>
    ${report && html`<section class="card" aria-label="Report"><${Report} report=${report} />
      <p><a href=${`/api/v1/runs/${report.run}/record`} download=${`run-${report.run}.html`}>Record of run ${report.run}
        ${" "}to print or hand on</a>, one file with the program's text and what is not known.</p>
      <${WayBack} key=${report.run} report=${report} model=${model} gone=${gone} going=${ways} act=${act} /></section>`}`;
}
