// What is held is said again and again, as the coordinator ends what is not.

const EVERY_MS = 60;
const STOOD_MS = 250; // a page that stood still for so long has let go: the coordinator took it so

/** `say()` says what is held; `letGo()` is called before it where the page stood still. */
export function makeSaying({ say, letGo }) {
  let timer = null;
  let saidMs = 0;

  function again() {
    const now = performance.now();
    if (now - saidMs > STOOD_MS) letGo();
    saidMs = now;
    say();
  }

  return {
    /** Something is held from now on: said at once. */
    begin() {
      saidMs = performance.now();
      timer ??= setInterval(again, EVERY_MS);
      again();
    },
    end() {
      clearInterval(timer);
      timer = null;
    },
  };
}
