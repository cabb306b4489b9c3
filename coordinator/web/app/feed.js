// The live feed: connects, comes back after a while when it was lost, begins anew after a gap.

import { CLIENT } from "./api.js";
import { apply } from "./state.js";

const FIRST_WAIT_MS = 250;
const LONGEST_WAIT_MS = 2000;
const SILENT_MS = 3000; // messages come far more often: a connection that brings none is dead

/**
 * Follow the feed for good, whenever `may` says that one may. `told` gets every new model, `lost` the
 * one of when it breaks.
 */
export function follow(start, told, lost, may) {
  let model = start;
  let wait = FIRST_WAIT_MS;

  function connect() {
    const scheme = location.protocol === "https:" ? "wss:" : "ws:";
    const socket = new WebSocket(`${scheme}//${location.host}/api/v1/feed?client=${CLIENT}`);
    let silence = null;
    let over = false;

    function end(cut) {
      if (over) return;
      over = true;
      clearTimeout(silence);
      socket.close();
      model = { ...model, cut };
      lost(model);
      setTimeout(again, wait);
      wait = Math.min(2 * wait, LONGEST_WAIT_MS);
    }

    function heard() {
      clearTimeout(silence);
      silence = setTimeout(() => end(false), SILENT_MS); // that nothing came shows by itself
    }

    heard();
    socket.onclose = () => end(true);
    socket.onmessage = (event) => {
      if (over) return;
      heard();
      const next = apply(model, JSON.parse(event.data), performance.now());
      if (next === null) { // a gap: what is known is whole but for a moment
        end(false);
        return;
      }
      wait = FIRST_WAIT_MS;
      model = next;
      told(model);
    };
  }

  function again() {
    if (may()) connect();
    else setTimeout(again, LONGEST_WAIT_MS);
  }

  again();
}
