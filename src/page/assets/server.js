// The one way to the program. The key stands behind the # of the address, which no browser sends anywhere.

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
