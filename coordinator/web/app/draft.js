// The program that somebody writes: kept while the page lives, and over a reload of it.

const KEY = "unisono-program";
let kept = null;

/**
 * `{name, text, kept, sha256, changed}` as it was written last in this tab: `kept` is the id of the
 * sequence or program that was taken, null for any other, `sha256` that of a program's text as it was
 * taken, and `changed` whether the text is another since.
 */
export function draft() {
  kept ??= stored() ?? nothing();
  return kept;
}

/** Keep another one. What the browser does not store outlives no reload. */
export function keepDraft(program) {
  kept = { ...nothing(), ...program };
  try {
    sessionStorage.setItem(KEY, JSON.stringify(kept));
  } catch {
    sessionStorage.removeItem(KEY);
  }
}

const nothing = () => ({ name: "", text: "", kept: null, sha256: null, changed: false });

function stored() {
  try {
    const found = { ...nothing(), ...JSON.parse(sessionStorage.getItem(KEY)) };
    return typeof found.name === "string" && typeof found.text === "string" ? found : null;
  } catch {
    return null;
  }
}
