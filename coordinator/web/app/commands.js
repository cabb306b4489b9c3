// Hold, Stop and Resume: one bar at the bottom edge of every page, where a thumb reaches it.
//
// Hold and Stop can always be pressed: where the coordinator is gone they try, and say what became
// of it. Hold and Resume are apart, with Stop between them, and never change places.

import { html } from "htm/preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { deliver } from "./api.js";
import { GoTo, Way } from "./goto.js";
import { Resume } from "./resume.js";
import { Shape } from "./signs.js";

const UNSTOPPED = "The stop was not delivered. Use the emergency stop that cuts the power.";
const PARK = { pose: "park" };
const UNHELD = "The hold was not delivered.";
const DONE = {
  "stop": "Stop is sent. Once all joints rest, a command that moves joints clears the stop in these.",
  "stop-and-release": "Stop is sent; the motors go off once the arm rests.",
  "release": "The motors are told to go off at once.",
};

/** The bar, with what is said of the last command above it. */
export function Commands({ arm, gone, you, role, going, act, children }) {
  const [more, setMore] = useState(false);
  const bar = useRef(null);
  const opener = useRef(null);
  useEffect(() => keepClear(bar.current), []);
  const close = () => {
    setMore(false);
    opener.current.focus();
  };
  const stop = (level) => {
    if (more) close();
    return act(() => deliver("/stop", { level }, UNSTOPPED), DONE[level], true);
  };
  const hold = () => act(() => deliver("/hold", undefined, UNHELD));
  return html`
    <section class="commands" aria-label="Hold, stop and resume" ref=${bar}>
      <div class="presses">
        <button class="holding" onClick=${hold}><${Shape} name="held" size=${15} /> Hold</button>
        <button class="stopping" onClick=${() => stop("stop")}><${Shape} name="stopped" size=${17} /> Stop</button>
        <p class="caution"><span>A software stop. Not an emergency stop.</span>${" "}
          <button class="plain" ref=${opener} aria-expanded=${more} aria-controls="motors"
            onClick=${() => setMore(!more)}>Motors off…</button></p>
        <${Resume} arm=${arm} gone=${gone} you=${you} role=${role} act=${act} />
      </div>
      <div id="motors" class="panel" hidden=${!more}>
        <p><strong>A raised arm may fall when its motors are off.</strong> Support it first; keep
          hands out from under it.</p>
        ${arm?.poses?.park && !arm.run && html`
          <p>Park it first, if it can still be moved: <${GoTo} going=${going} place=${PARK} name="park" off=${gone} /></p>
          <${Way} joints=${arm.joints} angles_deg=${arm.poses.park} />`}
        <button class="grave" onClick=${() => stop("stop-and-release")}>Stop, then motors off</button>
        <button class="grave" onClick=${() => stop("release")}>Motors off at once</button>
        <button class="plain" onClick=${close}>Leave them on</button>
      </div>
      <div class="said" role="alert">${children}</div>
    </section>`;
}

// The page leaves room for the bar, and the bar for a keyboard on the screen.
function keepClear(bar) {
  const style = document.documentElement.style;
  const seen = visualViewport;
  const band = document.querySelector(".band");
  const measure = new ResizeObserver(() => {
    style.setProperty("--bar", `${bar.offsetHeight}px`);
    style.setProperty("--band", `${band?.offsetHeight ?? 0}px`);
  });
  const lift = () => {
    const covered = document.documentElement.clientHeight - seen.height - seen.offsetTop;
    style.setProperty("--lift", `${seen.scale > 1.01 ? 0 : Math.max(0, Math.round(covered))}px`);
  };
  measure.observe(bar);
  if (band) measure.observe(band);
  seen.addEventListener("resize", lift);
  seen.addEventListener("scroll", lift);
  lift();
  return () => {
    measure.disconnect();
    seen.removeEventListener("resize", lift);
    seen.removeEventListener("scroll", lift);
  };
}
