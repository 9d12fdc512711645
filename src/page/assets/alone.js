// The one way to the planner where there is no program: its module stands in this file, and answers in the background.

export const alone = true;
export const token = "";

/** Answers that take long stand in a line of their own. */
const SLOW = ["/api/starts", "/api/targets", "/api/choices", "/api/cooling"];

/** What the planner refused, in its own words. */
export class Refused extends Error {
  constructor(document) {
    super(document.message);
    this.code = document.code;
    this.hint = document.hint;
  }
}

/** There is nobody who could go away. */
export const onGone = () => {};
/** Nothing is watched here. */
export async function* listen() {}

const stands = (id) => document.getElementById(id).textContent;
const taken = JSON.parse(stands("taken"));

/** A browser that keeps nothing of a file still works; it forgets when the page is shut. */
function storage(name) {
  try { window[name].getItem("subwell"); return; } catch { /* it refuses */ }
  const kept = new Map();
  const own = { getItem: (key) => kept.get(key) ?? null, setItem: (key, value) => { own[key] = ""; kept.set(key, String(value)); }, removeItem: (key) => { delete own[key]; kept.delete(key); } };
  for (const method of ["getItem", "setItem", "removeItem"]) Object.defineProperty(own, method, { enumerable: false });
  Object.defineProperty(window, name, { value: own });
}
storage("localStorage");
storage("sessionStorage");

/** Runs behind the page, where it holds nothing up; it is handed over as text and knows nothing of what stands around it. */
function background(scope) {
  const texts = [], encoder = new TextEncoder(), decoder = new TextDecoder();
  let compiled = null, calls = null;
  const put = (text) => {
    const bytes = encoder.encode(text), at = calls.room(bytes.length);
    new Uint8Array(calls.memory.buffer, at, bytes.length).set(bytes);
  };
  const begin = async () => {
    calls = (await WebAssembly.instantiate(compiled, {})).exports;
    for (const [name, text] of texts) { put(`${name}\n${text}`); calls.keep(); }
  };
  scope.onmessage = async ({ data: { id, bytes, names, path, body } }) => {
    try {
      if (bytes) { compiled = await WebAssembly.compile(bytes); texts.push(...names); await begin(); }
      else {
        put(`${path}\n${body}`);
        const length = calls.ask();
        const answer = decoder.decode(new Uint8Array(calls.memory.buffer, calls.answer(), length)), end = answer.indexOf("\n");
        scope.postMessage({ id, status: Number(answer.slice(0, end)), text: answer.slice(end + 1) });
        return;
      }
      scope.postMessage({ id, status: 200, text: "{}" });
    } catch (error) {
      scope.postMessage({ id, status: 500, text: JSON.stringify({ code: "broken", message: "the planner broke off here", hint: `change the last word back (${error.message})` }) });
      // What broke off begins anew.
      if (compiled) await begin();
    }
  };
}

function worker() {
  try { return new Worker(URL.createObjectURL(new Blob([`(${background})(self)`], { type: "text/javascript" }))); } catch {
    // No background to be had: then here.
    const here = { onmessage: null }, scope = { postMessage: (data) => here.onmessage({ data }) };
    background(scope);
    return Object.assign(here, { postMessage: (data) => scope.onmessage({ data }) });
  }
}

/** One question after the other; what nobody waits for any more is not asked. */
class Line {
  constructor(bytes) {
    this.worker = worker();
    this.worker.onmessage = ({ data }) => { const { done } = this.running; this.running = null; this.next(); done(data); };
    this.waiting = [];
    this.running = null;
    this.ready = this.put({ bytes, names: Object.entries(taken.texts) });
  }

  put(message, signal) {
    return new Promise((done, fail) => { this.waiting.push({ message, signal, done, fail }); this.next(); });
  }

  next() {
    while (this.running === null && this.waiting.length > 0) {
      const first = this.waiting.shift();
      if (first.signal?.aborted) { first.fail(new DOMException("not asked any more", "AbortError")); continue; }
      this.running = first;
      this.worker.postMessage(first.message);
    }
  }
}

async function module() {
  const packed = Uint8Array.from(atob(stands("module")), (letter) => letter.charCodeAt(0));
  return new Response(new Blob([packed]).stream().pipeThrough(new DecompressionStream("gzip"))).arrayBuffer();
}
const lines = module().then((bytes) => ({ quick: new Line(bytes), slow: new Line(bytes) }));

const FOLDER = { format: "subwell.folder", version: 1, name: "taken along", key: `file ${taken.made}`, first: taken.night, nights: [taken.night], profiles: taken.profiles, folders: [] };

export async function ask(method, path, body, signal) {
  if (path === "/api/files") return FOLDER;
  let own;
  try { own = await lines; } catch (error) {
    throw new Refused({ code: "broken", message: "this browser cannot run the planner of this file", hint: `open it in a newer one (${error.message})` });
  }
  const { status, text } = await (SLOW.includes(path) ? own.slow : own.quick).put({ path, body: body === undefined ? "" : JSON.stringify(body) }, signal);
  if (signal?.aborted) throw new DOMException("not asked any more", "AbortError");
  const document = JSON.parse(text);
  if (status !== 200) throw new Refused(document);
  return document;
}
