// Asking the server of this machine. Two kinds of trouble: it refused, or it is not there.

/** The server answered that it will not, and why. */
export class Refused extends Error {
  constructor(message, status, song = null, isCancelled = false) {
    super(message);
    this.status = status;
    /** Somebody cancelled what was asked. */
    this.isCancelled = isCancelled;
    /** The song as it stands now, where the page showed another one. */
    this.song = song;
  }
}

/** Nothing answered. */
export class Unreachable extends Error {}

/** Where this page lies: a song of a folder has requests of its own below its address. */
const HERE = location.pathname.replace(/\/[^/]*$/, "");

/** Where a request of this page goes. */
export const at = (path) => (path.startsWith("/api/") ? HERE + path : path);

/** The name of what this page keeps in the browser: each song of a folder keeps its own. */
export const keptAs = (name) => (HERE ? `${name} ${HERE}` : name);

async function ask(path, options = {}) {
  let response;
  try {
    response = await fetch(at(path), { cache: "no-store", credentials: "same-origin", ...options });
  } catch (cause) {
    if (cause.name === "AbortError") throw cause;
    throw new Unreachable("the desk's program does not answer");
  }
  if (response.ok) return response;
  const text = await response.text();
  let [message, song, isCancelled] = [text.trim(), null, false];
  try {
    ({ error: message = message, song = null, cancelled: isCancelled = false } = JSON.parse(text));
  } catch {
    // a plain sentence, as for a missing key
  }
  throw new Refused(message || `refused (${response.status})`, response.status, song, isCancelled);
}

/** GET, as JSON. */
export const get = async (path, options) => (await ask(path, options)).json();

/** GET, as bytes. */
export const bytes = async (path) => (await ask(path)).arrayBuffer();

/** POST of JSON, answered by JSON. */
export async function post(path, body = {}) {
  const response = await ask(path, {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify(body),
  });
  const text = await response.text();
  return text ? JSON.parse(text) : {};
}

/** POST of a file as it is, answered by JSON. */
export async function send(path, file, signal) {
  return (await ask(path, { method: "POST", headers: { "content-type": "application/octet-stream" }, body: file, signal })).json();
}

/** A path with its query; null, false and "" are left out. */
export function address(path, query) {
  const pairs = Object.entries(query).filter(([, v]) => v !== null && v !== undefined && v !== "" && v !== false);
  return `${at(path)}?${new URLSearchParams(pairs.map(([k, v]) => [k, v === true ? "1" : String(v)]))}`;
}
