// What is asked for once, when it is looked at, and not told on the feed.

import { useEffect, useState } from "preact/hooks";
import { get, Refusal } from "./api.js";

/** What a question came to: the answer, or in `why` what is to be said without one. Asked anew with `about`. */
export function useAnswer(path, about) {
  const [found, setFound] = useState({ answer: null, why: "Asking." });
  useEffect(() => {
    let left = false;
    get(path).then((answer) => left || setFound({ answer, why: "" })).catch((error) => {
      if (!(error instanceof Refusal)) throw error;
      if (!left) setFound({ answer: null, why: error.message });
    });
    return () => { left = true; };
  }, [path, ...about]);
  return found;
}
