// The program that is played, with a mark at the line that the arm is in.

import { html } from "htm/preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { file, Refusal } from "./api.js";
import { loopWords } from "./production.js";

const AROUND = 60; // lines shown before and behind it: more would make the page slow
const MOST_LINES = 50_000; // of a text that is fetched unasked, while the arm's own network carries its motion

/** Asks for the text once for each run, unless it is long. */
export function Listing({ run }) {
  const long = run.lines > MOST_LINES;
  const [lines, setLines] = useState(null);
  const [trouble, setTrouble] = useState(null);
  const here = useRef(null);
  const box = useRef(null);
  useEffect(() => {
    let over = false;
    setLines(null);
    setTrouble(null);
    if (long) return undefined;
    // Nobody asked for this: it says nothing of what was asked for.
    file(`/api/v1/runs/${run.number}/program`).then(
      (text) => over || setLines(linesOf(text)),
      (error) => {
        if (!(error instanceof Refusal)) throw error;
        if (!over) setTrouble(error.message);
      },
    );
    return () => {
      over = true;
    };
  }, [run.number, long]);
  useEffect(() => {
    // Within its box only: whoever reads elsewhere on the page is not moved.
    if (here.current) box.current.scrollTop = here.current.offsetTop - box.current.clientHeight / 2;
  }, [run.line, lines]);
  const first = Math.max(0, (run.line ?? 1) - AROUND - 1);
  const number = (k) => first + k + 1;
  return html`
    <section class="card" aria-label="The program that is played">
      <h2>${run.name}${loopWords(run)}</h2>
      ${lines === null ? html`<p>${long ? tooLong(run) : trouble ?? "Asking for its text."}</p>` : html`
        <ol class="listing" start=${number(0)} ref=${box} tabindex="0" aria-label="Lines">
          ${lines.slice(first, first + 2 * AROUND).map((text, k) => html`
            <li key=${number(k)} ref=${number(k) === run.line ? here : null} aria-current=${number(k) === run.line ? "step" : null}>
              <code>${text || " "}</code></li>`)}
        </ol>`}
    </section>`;
}

// As they are counted elsewhere: a line end at the end of a file begins no other.
function linesOf(text) {
  const lines = text.split(/\r\n|\r|\n/);
  return lines.at(-1) === "" ? lines.slice(0, -1) : lines;
}

const tooLong = (run) => `Its ${run.lines} lines are too long to be shown here${run.line ? `; it is in line ${run.line}` : ""}.`;
