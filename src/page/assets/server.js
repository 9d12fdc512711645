// The one way to the program. The key stands behind the # of the address, which no browser sends anywhere.
// When the program has ended, the planner's own module answers what needs no disk, if the program had it.

import { Planner, Refused } from "./planner.js";

/** Whether the page is a file that answers itself, with no program behind it. */
export const alone = false;

const KEY = "subwell-key";

function key() {
  const given = location.hash.slice(1);
  if (/^[0-9a-f]{16,}$/.test(given)) {
    sessionStorage.setItem(KEY, given);
    // Out of sight and out of the history.
    history.replaceState(null, "", location.pathname);
  }
  return sessionStorage.getItem(KEY) || "";
}

export const token = key();

/** The address of a program that was started anew, put into the same tab. */
addEventListener("hashchange", ({ newURL }) => {
  // The page may have put its place there by now.
  const found = /#([0-9a-f]{16,})$/.exec(newURL);
  if (!found) return;
  sessionStorage.setItem(KEY, found[1]);
  location.reload();
});

let gone = () => {};
/** Tells whether the program has ended, and whether the page plans on without it. */
export const onGone = (listener) => { gone = listener; };

/** What needs the program: its disk, its frames, its clock. */
const OF_THE_PROGRAM = /^\/api\/(files|frames|watch|watching|measure|stop|profile|new|save|example)\b/;
/** What is planned is taken along when the hand has rested for so long. */
const TAKE_MS = 1000;

/** The planner's module, and the texts of the night that was planned last: kept for the time when no program answers. */
let packed = null, texts = null, stead = null, taking = null;

async function fetched(path, options) {
  const response = await fetch(path, options);
  return response.ok ? response : null;
}

/** Takes along what the night of this question needs. */
function take(body) {
  clearTimeout(taking);
  taking = setTimeout(async () => {
    try {
      // A program without the module says so once.
      packed ??= new Uint8Array(await (await fetched("/planner.wasm.gz"))?.arrayBuffer() ?? 0);
      if (packed.length === 0) return;
      const answer = await fetched("/api/taken", { method: "POST", headers: { "X-Subwell-Token": token, "Content-Type": "application/json" }, body: JSON.stringify(body) });
      if (answer) { texts = (await answer.json()).texts; stead = null; }
    } catch { /* what was taken before still stands */ }
  }, TAKE_MS);
}

/** The answer of the module, where there is one. */
async function withoutProgram(path, body, signal) {
  const able = texts !== null;
  gone(true, able);
  if (!able || OF_THE_PROGRAM.test(path)) throw new Refused({ code: "gone", message: able ? "the program has ended: the page plans on without it, and keeps your words" : "the program has ended; your words are kept here", hint: "start it again, and open the address it prints" });
  stead ??= new Planner(packed, texts);
  return stead.ask(path, body, signal);
}

export async function ask(method, path, body, signal) {
  const headers = { "X-Subwell-Token": token };
  if (body !== undefined) headers["Content-Type"] = "application/json";
  let response;
  try {
    response = await fetch(path, { method, headers, signal, body: body === undefined ? undefined : JSON.stringify(body) });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    return withoutProgram(path, body, signal);
  }
  const document = await response.json();
  // A program that was started anew at this address has another key.
  if (response.status === 401 && texts !== null) return withoutProgram(path, body, signal);
  gone(false, false);
  if (!response.ok) throw new Refused(document);
  if (path === "/api/plan") take(body);
  return document;
}

/** Server-sent events from one on, as `{ id, name, data }` with parsed data; ends when the connection does. */
export async function* listen(path, last, signal) {
  const response = await fetch(path, { headers: { "X-Subwell-Token": token, "Last-Event-ID": String(last) }, signal });
  if (!response.ok) throw new Refused(await response.json());
  const reader = response.body.pipeThrough(new TextDecoderStream()).getReader();
  let text = "";
  for (;;) {
    const { value, done } = await reader.read();
    if (done) return;
    text += value;
    const blocks = text.split("\n\n");
    text = blocks.pop();
    for (const block of blocks) {
      const field = (name) => block.split("\n").find((line) => line.startsWith(`${name}: `))?.slice(name.length + 2);
      // A comment only shows that somebody is there.
      if (field("event")) yield { id: Number(field("id")), name: field("event"), data: JSON.parse(field("data")) };
    }
  }
}
