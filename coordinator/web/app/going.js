// On the way to a waypoint while its control is held: said again and again, as a jog is.

import { makeSaying } from "./saying.js";

/** `feed.wish(message)` sends, false where nothing can be sent; `armUs()` is arm time now. */
export function makeGoing({ feed, armUs, changed, say }) {
  const going = { waypoint: null };
  const saying = makeSaying({ say: tell, letGo: () => going.letGo() });

  function tell() {
    if (going.waypoint === null) return;
    if (!feed.wish({ type: "go", at_us: armUs(), waypoint: going.waypoint })) {
      going.letGo();
      say("The arm is not told to go there: the coordinator is not heard.");
    }
  }

  going.press = (waypoint) => {
    going.waypoint = waypoint;
    saying.begin();
    changed();
  };

  function drop() {
    saying.end();
    going.waypoint = null;
  }

  going.letGo = () => {
    if (going.waypoint === null) return;
    drop();
    feed.wish({ type: "jog", at_us: armUs(), velocities_deg_s: {} });
    changed();
  };

  // Wherever the pointer is lifted, and whatever became of the button meanwhile.
  addEventListener("pointerup", () => going.letGo());
  addEventListener("pointercancel", () => going.letGo());

  /** The coordinator refused: the control is held no more, and must be pressed anew. */
  going.refused = () => {
    if (going.waypoint === null) return;
    drop();
    changed();
  };
  return going;
}
