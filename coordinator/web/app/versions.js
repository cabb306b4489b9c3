// What a text was: its versions, one of them beside what holds now, and taken again.

import { html } from "htm/preact";
import { useEffect, useMemo, useState } from "preact/hooks";
import { Press } from "./press.js";
import { dateTime } from "./report.js";

const AT_ONCE = 50;
const MOST = 4e6; // pairs of lines that are compared: with more, each line stands beside its number
const WHOLE = 200; // rows that are all shown
const AROUND = 3; // equal rows shown before and behind one that differs
const MOST_ROWS = 1000;

/**
 * `changes(before, most)` gives versions, newest first, `text(change)` what held after one; `now` is what
 * holds, of a `revision`, and `restore(text)` takes a version's text into the field.
 */
export function Versions({ changes, text, now, revision, restore, gone, act }) {
  const [versions, setVersions] = useState(null);
  const [more, setMore] = useState(false);
  const [then, setThen] = useState(null); // { change, text } that is compared
  const load = async (before) => {
    const next = await changes(before.at(-1)?.id ?? null, AT_ONCE);
    setVersions([...before, ...next]);
    setMore(next.length === AT_ONCE);
  };
  useEffect(() => {
    if (versions) load([]).catch((error) => act(() => Promise.reject(error)));
  }, [revision]);
  const choose = (one) => act(async () => setThen({ change: one.id, text: await text(one.id) }));
  return html`
    <div class="row"><${Press} off=${gone} press=${() => (versions ? setVersions(null) : act(() => load([])))}>${
      versions ? "Close versions" : "Versions…"}<//></div>
    ${versions && html`<ul class="runs">${versions.map((one) => html`
      <li key=${one.id}><button class="plain" aria-pressed=${then?.change === one.id} onClick=${() => choose(one)}>
        ${one.words}</button> <span class="small">${dateTime(one.utc)}, ${one.who}</span></li>`)}</ul>`}
    ${versions && more && html`<button class="plain" onClick=${() => act(() => load(versions))}>Older versions</button>`}
    ${versions && then && html`<${Compared} then=${then.text} now=${now} restore=${() => restore(then.text)} />`}`;
}

// Two versions side by side, line by line.
function Compared({ then, now, restore }) {
  // The page is drawn anew with every message of the feed.
  const rows = useMemo(() => near(differences(then.trimEnd().split("\n"), now.trimEnd().split("\n"))), [then, now]);
  return html`
    <div class="scroll" tabindex="0" role="region" aria-label="Then and now"><table class="compared">
      <thead><tr><th>then</th><th>now</th></tr></thead>
      <tbody>${rows.map(([left, right], k) => html`
        <tr key=${k} class=${left === right ? "" : "differs"}><td><code>${left ?? ""}</code></td><td><code>${right ?? ""}</code></td></tr>`)}</tbody>
    </table></div>
    <p class="row"><button onClick=${restore}>Take the text of then</button>
      <span class="small">It counts once it is written.</span></p>`;
}

// Of a long text the rows that differ, with some around them.
function near(rows) {
  const shown = new Set();
  rows.forEach(([left, right], k) => {
    if (left === right) return;
    for (let other = k - AROUND; other <= k + AROUND; other++) shown.add(other);
  });
  return rows.filter((_, k) => shown.has(k) || rows.length <= WHOLE).slice(0, MOST_ROWS);
}

/** Lines side by side, equal ones in one row: by their longest common subsequence. */
export function differences(left, right) {
  const [n, m] = [left.length, right.length];
  if (n * m > MOST) return Array.from({ length: Math.max(n, m) }, (_, k) => [left[k] ?? null, right[k] ?? null]);
  const length = Array.from({ length: n + 1 }, () => new Uint32Array(m + 1));
  for (let i = n - 1; i >= 0; i--) {
    for (let j = m - 1; j >= 0; j--) {
      length[i][j] = left[i] === right[j] ? length[i + 1][j + 1] + 1 : Math.max(length[i + 1][j], length[i][j + 1]);
    }
  }
  const rows = [];
  let [i, j] = [0, 0];
  while (i < n || j < m) {
    if (i < n && j < m && left[i] === right[j]) rows.push([left[i++], right[j++]]);
    else if (j >= m || (i < n && length[i + 1][j] >= length[i][j + 1])) rows.push([left[i++], null]);
    else rows.push([null, right[j++]]);
  }
  return rows;
}
