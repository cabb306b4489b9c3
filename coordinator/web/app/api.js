// Commands to the coordinator. What goes wrong becomes a sentence for people.

const PREFIX = "/api/v1";

/** What this tab calls itself: one client at a time commands motion. */
export const CLIENT = clientId();

/** An answer that was no success. `problems` are a program's mistakes with their lines. */
export class Refusal extends Error {
  constructor(sentence, code = "", problems = []) {
    super(sentence);
    this.code = code;
    this.problems = problems;
  }
}

export const get = (path) => ask("GET", path);
export const post = (path, body = undefined) => ask("POST", path, body);

export async function ask(method, path, body) {
  const headers = { "Unisono-Client": CLIENT };
  if (body !== undefined) headers["Content-Type"] = "application/json";
  let response;
  try {
    response = await fetch(PREFIX + path, {
      method, headers, body: body === undefined ? undefined : JSON.stringify(body),
    });
  } catch {
    throw new Refusal("The coordinator does not answer: it has ended, or the network to it is gone.",
      "unreachable");
  }
  if (response.ok) return response.json();
  throw refusal(response.status, await response.json().catch(() => null));
}

function refusal(status, problem) {
  if (!problem?.detail) {
    return new Refusal(`The coordinator answered with status ${status} and no reason.`);
  }
  const code = String(problem.type ?? "").split(":").at(-1);
  return new Refusal(sentence(problem.detail), code, problem.errors ?? []);
}

/** With a capital and a full stop, as between other sentences. */
export const sentence = (text) => closed(text.charAt(0).toUpperCase() + text.slice(1));

/** With a full stop; it may begin with a joint's name, which stays as it is. */
export const closed = (text) => (/[.!?]$/.test(text) ? text : `${text}.`);

function clientId() {
  const kept = sessionStorage.getItem("unisono-client");
  if (kept) return kept;
  const bytes = crypto.getRandomValues(new Uint8Array(12));
  const made = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  sessionStorage.setItem("unisono-client", made);
  return made;
}
