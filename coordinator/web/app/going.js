// On the way to a place while its control is held: said again and again, as a jog is.

import { makeSaying } from "./saying.js";

/** `feed.wish(message)` sends, false where nothing can be sent; `armUs()` is arm time now. */
export function makeGoing({ feed, armUs, changed, say }) {
  const going = { place: null }; // as a wish names it: a waypoint, a pose or angles
  const saying = makeSaying({ say: tell, letGo: () => going.letGo() });

  function tell() {
    if (going.place === null) return;
    if (!feed.wish({ type: "go", at_us: armUs(), ...going.place })) {
      going.letGo();
      say("The arm is not told to go there: the coordinator is not heard.");
    }
  }

  going.press = (place) => {
    going.place = place;
    saying.begin();
    changed();
  };

  /** Whether it goes to this place. */
  going.to = (place) => going.place !== null && JSON.stringify(going.place) === JSON.stringify(place);

  function drop() {
    saying.end();
    going.place = null;
  }

  going.letGo = () => {
    if (going.place === null) return;
    drop();
    feed.wish({ type: "jog", at_us: armUs(), velocities_deg_s: {} });
    changed();
  };

  // Wherever the pointer is lifted, and whatever became of the button meanwhile.
  addEventListener("pointerup", () => going.letGo());
  addEventListener("pointercancel", () => going.letGo());

  /** The coordinator refused: the control is held no more, and must be pressed anew. */
  going.refused = () => {
    if (going.place === null) return;
    drop();
    changed();
  };
  return going;
}
