// On the way to a place, or homing a joint, while its control is held: said again and again, as a jog is.

import { makeSaying } from "./saying.js";

/** `feed.wish(message)` sends, false where nothing can be sent; `armUs()` is arm time now; `arm()` what is known of it. */
export function makeGoing({ feed, armUs, arm, changed, say }) {
  const going = { place: null }; // as a wish names it: a waypoint, a pose, angles, or a joint to home
  let before = 0; // the newest homing as the control was pressed
  const saying = makeSaying({ say: tell, letGo: () => going.letGo() });

  function tell() {
    if (going.place === null) return;
    if (!feed.wish({ type: "go", at_us: armUs(), ...going.place })) {
      going.letGo();
      say("What is held is not told to the arm: the coordinator is not heard.");
    }
  }

  going.press = (place) => {
    going.place = place;
    before = arm()?.homing?.number ?? 0;
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

  /** Something was told of the arm: a joint that is homed needs no hand any more. */
  going.look = ({ homing }) => {
    if (going.place?.type !== "home" || !homing || homing.number <= before || homing.state === "running") return;
    going.letGo();
  };

  /** The coordinator refused: the control is held no more, and must be pressed anew. */
  going.refused = () => {
    if (going.place === null) return;
    drop();
    changed();
  };
  return going;
}
