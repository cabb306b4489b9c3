// A program's mistakes, each of which leads to its line.

import { html } from "htm/preact";
import { sentence } from "./api.js";

/** Where something stands in a program, and what. */
export const about = (one) => `Line ${one.line}${one.column ? `, column ${one.column}` : ""}: ${sentence(one.message)}`;

/** Items of a list; pressed, they have their line selected. */
export const Mistakes = ({ mistakes, select }) => mistakes.map((one, k) => html`
  <li key="e${k}"><button class="plain danger" onClick=${() => select(one.line)}>${about(one)}</button></li>`);

/** Select a program's line, for who mends it; a line of the field is as high as its text. */
export function selectLine(field, line) {
  const lines = field.value.split("\n");
  const from = lines.slice(0, line - 1).reduce((sum, one) => sum + one.length + 1, 0);
  field.focus();
  field.setSelectionRange(from, from + (lines[line - 1] ?? "").length);
  const height = parseFloat(getComputedStyle(field).lineHeight);
  field.scrollTop = height * (line - 1) - field.clientHeight / 2;
}
