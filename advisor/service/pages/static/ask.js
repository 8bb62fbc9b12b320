// Asking the service. A refusal becomes an `Refused` with the words of the problem (RFC 9457).

const KEY = "desk-key";

export class Refused extends Error {
  constructor(problem, status) {
    super(problem.detail ?? problem.title ?? `the service answered ${status}`);
    this.status = status;
    this.code = problem.code ?? "";
    this.help = problem.help ?? "";
    this.pointer = problem.pointer ?? "";
  }
}

export function key() {
  try {
    return sessionStorage.getItem(KEY) ?? "";
  } catch {
    return "";
  }
}

/** Keep the key until the window is closed, and nowhere else. */
export function keep(given) {
  if (given) sessionStorage.setItem(KEY, given);
  else sessionStorage.removeItem(KEY);
}

async function send(method, path, body, { accept = "application/json", signal, headers = {} } = {}) {
  // Sentences in the language of the page around them.
  const all = { accept, "accept-language": document.documentElement.lang || "en", ...headers };
  if (key()) all.authorization = `Bearer ${key()}`;
  if (body !== undefined) all["content-type"] = "application/json";
  let answer;
  try {
    answer = await fetch(path, { method, headers: all, signal, body: body === undefined ? undefined : JSON.stringify(body) });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Refused({ detail: "the service cannot be reached", help: "see whether it runs, then try again" }, 0);
  }
  if (answer.ok) return answer;
  const problem = await answer.json().catch(() => ({}));
  throw new Refused(problem, answer.status);
}

export const get = async (path, more) => (await send("GET", path, undefined, more)).json();
export const post = async (path, body, more) => (await send("POST", path, body, more)).json();

/** A picture as a blob: shown as an image, where nothing in it can run. */
export async function picture(path, body, more) {
  const answer = await send("POST", path, body, { ...more, accept: "image/svg+xml" });
  return new Blob([await answer.arrayBuffer()], { type: "image/svg+xml" });
}

/** All moves of a character, in the pack's order. */
export async function moves(pack, character) {
  const path = `v1/packs/${encodeURIComponent(pack)}/characters/${encodeURIComponent(character)}/moves`;
  const all = [];
  for (;;) {
    const page = await get(`${path}?limit=400&offset=${all.length}`);
    all.push(...page.moves);
    if (!page.moves.length || all.length >= page.total) return all;
  }
}

/** A name for one submission: sent again by mistake, it counts once. */
export function once() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}
