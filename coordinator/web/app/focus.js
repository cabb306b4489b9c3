// Where the focus goes when what had it is there no more.

/** Within `root`: to the element that `refuge` gives, not to the document's beginning. */
export function keepFocus(root, refuge) {
  let last = null;
  root.addEventListener("focusin", (event) => {
    last = event.target;
  });
  new MutationObserver(() => {
    if (last === null || last.isConnected) return;
    last = null;
    if (document.activeElement === document.body) refuge()?.focus({ preventScroll: true });
  }).observe(root, { childList: true, subtree: true });
}
