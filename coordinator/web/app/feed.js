// The live feed: connects, comes back after a while when it was lost, begins anew after a gap. What this
// page's hand wishes goes back on it.

import { CLIENT, NAME } from "./api.js";
import { apply } from "./state.js";

const FIRST_WAIT_MS = 250;
const LONGEST_WAIT_MS = 2000;
const SILENT_MS = 3000; // messages come far more often: a connection that brings none is dead

/**
 * Follow the feed for good, whenever `may` says that one may. `told` gets every new model, `lost` the
 * one of when it breaks, `refused` the answer to a wish. Gives `wish`, which sends one.
 */
export function follow(start, { told, lost, refused, may }) {
  let model = start;
  let open = null; // the socket that is told on now
  let wishes = 0;
  let wait = FIRST_WAIT_MS;

  function connect() {
    const scheme = location.protocol === "https:" ? "wss:" : "ws:";
    const socket = new WebSocket(`${scheme}//${location.host}/api/v1/feed?client=${CLIENT}&name=${encodeURIComponent(NAME)}`);
    let silence = null;
    let over = false;

    function end(cut) {
      if (over) return;
      over = true;
      if (open === socket) open = null;
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
      const message = JSON.parse(event.data);
      if (message.type === "refused") {
        refused(message);
        return;
      }
      if (open !== socket) [open, wishes] = [socket, 0];
      const next = apply(model, message, performance.now());
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

  return (message) => {
    // What would wait here is old when it arrives.
    if (open === null || open.readyState !== WebSocket.OPEN || open.bufferedAmount > 0) return false;
    wishes += 1;
    open.send(JSON.stringify({ ...message, number: wishes, at_us: Math.round(message.at_us) }));
    return true;
  };
}
