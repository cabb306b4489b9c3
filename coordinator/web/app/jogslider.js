// A slider for a joint that springs back: pushed further it turns faster, let go it stops.
//
// What counts is the way from where it was pressed: a finger that only touches it moves nothing.

import { html } from "htm/preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { isAltered, isKey } from "./keys.js";
import { DEAD, isOut, LEAST } from "./pad.js";

const KEY_FIRST = 0.2; // of the way, by the first press of a key, and by each time that it repeats
const KEY_MORE = 0.04;

/** `off`: it does nothing for now. */
export function Slider({ hand, name, off }) {
  const [way, setWay] = useState(0);
  const element = useRef(null);
  const now = useRef({});
  now.current.off = off;
  useEffect(() => {
    now.current.spring = spring(element.current, { hand, name, shown: setWay, isOff: () => now.current.off });
    return () => now.current.spring.end();
  }, [hand, name]);
  useEffect(() => now.current.spring.look());
  const percent = Math.round(100 * way);
  return html`
    <div class="push" role="slider" tabindex="0" ref=${element} aria-label=${`Push ${name}`} aria-disabled=${Boolean(off)}
      aria-valuemin="-100" aria-valuemax="100" aria-valuenow=${percent} aria-valuetext=${pushed(percent)}>
      <span class="thumb" style=${{ left: `${50 + 44 * way}%` }} aria-hidden="true"></span>
    </div>`;
}

const pushed = (percent) => (percent === 0 ? "in its middle"
  : `${Math.abs(percent)} % towards ${percent < 0 ? "smaller" : "larger"} angles`);

/** Share of the chosen speed for a way out of the dead zone. */
const share = (way) => Math.sign(way) * Math.max(LEAST, (Math.abs(way) - DEAD) / (1 - DEAD));

// `look` is for whenever something may have changed, `end` for when the slider goes.
function spring(element, { hand, name, shown, isOff }) {
  let by = null; // what pushes it: a pointer from `x`, or a `key`
  let way = 0;
  let out = false;
  let pushes = false;

  function to(wanted) {
    if (!isPushed()) return;
    way = Math.min(1, Math.max(-1, wanted));
    out = isOut(way, out);
    if (out) hand.push(name, share(way));
    else if (pushes) hand.letGo(name);
    pushes = out;
    shown(way);
  }

  function back() {
    by = null;
    way = 0;
    out = false;
    if (pushes) hand.letGo(name);
    pushes = false;
    shown(0);
  }

  // What else let the joint go (the tab, a refusal, the feed) has the slider spring back, to be pressed anew.
  function isPushed() {
    if (by !== null && (isOff() || (pushes && !hand.held.has(name)))) back();
    return by !== null;
  }

  const heard = {
    pointerdown: (event) => {
      if (event.button !== 0 || !event.isPrimary || by !== null) return;
      element.setPointerCapture(event.pointerId);
      by = { x: event.clientX, half: element.clientWidth / 2 };
    },
    pointermove: (event) => by?.half && event.isPrimary && to((event.clientX - by.x) / by.half),
    pointerup: back, pointercancel: back, lostpointercapture: back,
    contextmenu: (event) => event.preventDefault(), // a long touch is a push
    keydown: (event) => {
      const sign = isKey("pushLess", event) ? -1 : isKey("pushMore", event) ? 1 : 0;
      if (!sign || isAltered(event)) return;
      event.preventDefault();
      if (by === null && !event.repeat) {
        by = { key: event.key };
        to(sign * KEY_FIRST);
      } else if (by?.key === event.key) to(way + sign * KEY_MORE);
      else if (by?.key) back();
    },
    keyup: (event) => by?.key === event.key && back(),
    blur: back,
  };
  for (const [name, listener] of Object.entries(heard)) element.addEventListener(name, listener);
  return { look: isPushed, end: back };
}
