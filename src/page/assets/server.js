// The one way to the program. The key stands behind the # of the address, which no browser sends anywhere.

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
addEventListener("hashchange", () => {
  const found = /^#([0-9a-f]{16,})$/.exec(location.hash);
  if (!found) return;
  sessionStorage.setItem(KEY, found[1]);
  location.reload();
});

/** What the program refused, in its own words. */
export class Refused extends Error {
  constructor(document) {
    super(document.message);
    this.code = document.code;
    this.hint = document.hint;
  }
}

let gone = () => {};
/** Tells whether the program answers. */
export const onGone = (listener) => { gone = listener; };

export async function ask(method, path, body, signal) {
  const headers = { "X-Subwell-Token": token };
  if (body !== undefined) headers["Content-Type"] = "application/json";
  let response;
  try {
    response = await fetch(path, { method, headers, signal, body: body === undefined ? undefined : JSON.stringify(body) });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    gone(true);
    throw new Refused({ code: "gone", message: "the program has ended; your words are kept here", hint: "start it again, and open the address it prints" });
  }
  gone(false);
  const document = await response.json();
  if (!response.ok) throw new Refused(document);
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
