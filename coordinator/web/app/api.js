// Commands to the coordinator. What goes wrong becomes a sentence for people.

const PREFIX = "/api/v1";

/** What this tab calls itself: one client at a time commands motion. */
export const CLIENT = clientId();

// What others read where this page commands: at a touch screen it is mostly a phone.
export const NAME = matchMedia("(pointer: coarse)").matches ? "a page on a touch screen" : "a page on a computer";

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

// Seconds until a command counts as not answered; a long program takes long to check.
const LIMITS_S = { "/stop": 2, "/hold": 2, "/check": 30, "/check/curves": 30, "/runs": 30,
  "/queue/play": 30, "/taught/shift": 60, "/taught/edits": 60, "/runs/N/way": 300 };
const LIMIT_S = 15;
const FILE_S = 125; // a little more than the coordinator waits for it
const GONE = "The coordinator does not answer: it has ended, or the network to it is gone.";
const LINES = "application/x-ndjson";

/** Post what must not fail unnoticed; its failure begins with `undelivered`. */
export async function deliver(path, body, undelivered) {
  try {
    return await post(path, body);
  } catch (error) {
    // A hold that was refused was delivered; a stop that was refused is as bad as one that was not.
    const unheard = error.code === "unreachable" || error.code === "token";
    if (path === "/stop" || unheard) error.message = `${undelivered} ${error.message}`;
    throw error;
  }
}

/** Post what must arrive although the page is being closed; nobody is left to hear the answer. */
export function leave(path) {
  fetch(PREFIX + path, { method: "POST", headers: named(), keepalive: true }).catch(() => {});
}

const named = () => ({ "Unisono-Client": CLIENT, "Unisono-Client-Name": NAME });

export async function ask(method, path, body) {
  const headers = named();
  if (body !== undefined) headers["Content-Type"] = "application/json";
  const request = { method, headers, body: body === undefined ? undefined : JSON.stringify(body) };
  return answer(PREFIX + path, request, limitS(path), (response) => response.json());
}

/** Post a file as it is. */
export const postFile = (path, file) => answer(PREFIX + path,
  { method: "POST", headers: { ...named(), "Content-Type": "application/octet-stream" }, body: file },
  FILE_S, (response) => response.json());

/**
 * Post what may take long: `told` is called with how far it is, { stage, done, of }. To abort the `signal`
 * cancels it, here and in the coordinator.
 */
export async function postLong(path, body, told, signal) {
  const silent = new AbortController();
  let timer;
  const heard = () => {
    clearTimeout(timer);
    timer = setTimeout(() => silent.abort(), limitS(path) * 1000);
  };
  heard();
  try {
    const response = await fetch(PREFIX + path, {
      method: "POST",
      headers: { ...named(), "Content-Type": "application/json", Accept: `${LINES}, application/json` },
      body: JSON.stringify(body),
      signal: AbortSignal.any([signal, silent.signal]),
    });
    if (!response.ok) throw refusal(response.status, await response.json().catch(() => null));
    if (!response.headers.get("Content-Type")?.startsWith(LINES)) return await response.json();
    for await (const line of linesOf(response.body, heard)) {
      if (line.progress) told(line.progress);
      else if (line.problem) throw refusal(line.problem.status, line.problem);
      else return line.answer;
    }
    throw new TypeError("it ended without an answer");
  } catch (error) {
    if (error instanceof Refusal) throw error;
    if (signal.aborted) throw new Refusal("Cancelled.", "cancelled");
    throw silent.signal.aborted
      ? new Refusal(`The coordinator did not answer within ${limitS(path)} s.`, "unreachable")
      : new Refusal(GONE, "unreachable");
  } finally {
    clearTimeout(timer);
  }
}

async function* linesOf(stream, heard) {
  const reader = stream.pipeThrough(new TextDecoderStream()).getReader();
  let parts = [];
  for (let next = await reader.read(); !next.done; next = await reader.read()) {
    heard();
    const lines = next.value.split("\n");
    while (lines.length > 1) {
      yield JSON.parse(parts.join("") + lines.shift());
      parts = [];
    }
    parts.push(lines[0]);
  }
}

const limitS = (path) => LIMITS_S[path.replace(/\?.*/, "").replace(/\d+/, "N")] ?? LIMIT_S;

/** The text of one of the page's own files. */
export const file = (path) => answer(path, {}, LIMIT_S, (response) => response.text());

async function answer(url, request, limitS, read) {
  let response;
  try {
    response = await fetch(url, { ...request, signal: AbortSignal.timeout(limitS * 1000) });
    if (response.ok) return await read(response);
  } catch (error) {
    if (error.name === "TimeoutError") {
      throw new Refusal(`The coordinator did not answer within ${limitS} s.`, "unreachable");
    }
    throw new Refusal(GONE, "unreachable");
  }
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
