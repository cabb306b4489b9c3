// Range and temperature as bars with marks, so that nearness is seen before it is read.

import { html } from "htm/preact";
import { figure } from "./figures.js";

/** Where an angle lies in its joint's range; a dial for a joint that turns without end. */
export function Range({ joint, deg }) {
  if (joint.range_deg == null) return html`<${Dial} deg=${deg} />`;
  const [low, high] = joint.range_deg;
  const at = (value) => 100 * Math.min(1, Math.max(0, (value - low) / (high - low)));
  return html`
    <div class="range">
      <svg width="100%" height="12" aria-hidden="true">
        <line class="rail" x1="0" x2="100%" y1="6" y2="6" />
        ${low < 0 && high > 0 && html`<line class="zero" x1="${at(0)}%" x2="${at(0)}%" y1="1" y2="11" />`}
        ${deg != null && html`
          <svg x="${at(deg)}%" overflow="visible"><path class="mark" d="M0 0 5 6 0 12-5 6Z" /></svg>`}
      </svg>
      <span class="ends"><span>${figure(low, 0, "°")}</span><span>${figure(high, 0, "°")}</span></span>
    </div>`;
}

function Dial({ deg }) {
  const turn = ((deg ?? 0) * Math.PI) / 180;
  const [x, y] = [8 + 6 * Math.sin(turn), 8 - 6 * Math.cos(turn)];
  return html`
    <div class="dial">
      <svg width="16" height="16" aria-hidden="true">
        <circle cx="8" cy="8" r="7" />
        ${deg != null && html`<line x1="8" y1="8" x2=${x} y2=${y} />`}
      </svg>
      <span>turns without end</span>
    </div>`;
}

const BAR = 80;
const COLDEST_C = 15;

/** Temperature against warning and limit, with the last ten minutes beneath. */
export function Heat({ joint, history, c }) {
  const limit = joint.limit_c ?? 60;
  const hottest = limit + (limit - COLDEST_C) * 0.12;
  const x = (warm) => BAR * Math.min(1, Math.max(0, (warm - COLDEST_C) / (hottest - COLDEST_C)));
  return html`
    <svg class="heat" width=${BAR} height="22" aria-hidden="true">
      <rect class="trough" x="0" y="3" width=${BAR} height="6" />
      ${c !== null && html`<rect class="filled" x="0" y="3" width=${x(c)} height="6" />`}
      ${joint.warning_c != null && html`
        <line class="warning" x1=${x(joint.warning_c)} x2=${x(joint.warning_c)} y1="0" y2="12" />`}
      ${joint.limit_c != null && html`
        <line class="limit" x1=${x(joint.limit_c)} x2=${x(joint.limit_c)} y1="0" y2="12" />`}
      <polyline class="trace" points=${trace(history, joint, hottest)} />
    </svg>`;
}

function trace(history, joint, hottest) {
  const end = history?.at.at(-1);
  if (end === undefined) return "";
  const points = [];
  history.at.forEach((at, k) => {
    const c = history.value[k];
    if (c == null) return;
    const x = BAR * (1 - (end - at) / 600e6);
    const y = 21 - 7 * Math.min(1, Math.max(0, (c - COLDEST_C) / (hottest - COLDEST_C)));
    if (x >= 0) points.push(`${x.toFixed(1)},${y.toFixed(1)}`);
  });
  return points.join(" ");
}
