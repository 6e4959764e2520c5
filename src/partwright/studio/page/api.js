// Asking the server. Every answer is JSON; every refusal is a `Trouble` whose words can be shown as they are.

/** Names this window in its edits, so that it can tell its own changes from another window's. */
export const client = Array.from(crypto.getRandomValues(new Uint8Array(9)), (b) => b.toString(36)).join("");

export class Trouble extends Error {
  constructor(status, fault = {}) {
    super(fault.words || "The program on this computer did not answer. Is partwright studio still running?");
    this.status = status;
    this.code = fault.code ?? "";
    this.place = fault.place ?? null;
    this.version = fault.version ?? null;
  }
}

/** The answer to a request, as JSON. `body` is sent as JSON, `file` as its bytes. */
export async function ask(path, { method = "GET", body, file, signal } = {}) {
  const options = { method, signal, headers: {} };
  if (file !== undefined) {
    options.body = file;
    options.headers["content-type"] = "application/octet-stream";
  } else if (body !== undefined) {
    options.body = JSON.stringify(body);
    options.headers["content-type"] = "application/json";
  }
  let answer;
  try {
    answer = await fetch(path, options);
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Trouble(0);
  }
  const kind = answer.headers.get("content-type") ?? "";
  const content = kind.includes("json") ? await answer.json().catch(() => null) : null;
  if (!answer.ok || content === null) throw new Trouble(answer.status, content?.error);
  return content;
}

/** The address of something of a lesson: at("weir", "notes", 12, { pictures: 0 }). */
export function at(lesson, ...pieces) {
  const query = typeof pieces.at(-1) === "object" ? pieces.pop() : {};
  const path = ["/api/lessons", encodeURIComponent(lesson), ...pieces.map((p) => encodeURIComponent(p))].join("/");
  const words = new URLSearchParams(Object.entries(query).filter(([, v]) => v !== undefined && v !== null && v !== ""));
  return words.size ? `${path}?${words}` : path;
}

/** Calls `told(kind, data)` for every event of the server, until `close()` of the answer. */
export function listen(lesson, told) {
  const source = new EventSource(`/api/events?lesson=${encodeURIComponent(lesson)}`);
  for (const kind of ["lesson", "job", "takes", "lessons"]) {
    source.addEventListener(kind, (event) => told(kind, JSON.parse(event.data)));
  }
  source.addEventListener("open", () => told("open", {}));
  source.addEventListener("error", () => told("gone", {}));
  return source;
}
