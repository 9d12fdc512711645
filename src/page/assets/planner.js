// The planner where no program answers: its module runs behind the page, and knows no more than the texts that it is given.

/** Answers that take long stand in a line of their own. */
const SLOW = ["/api/starts", "/api/targets", "/api/choices", "/api/cooling"];

/** What was refused, in the words of who refused it. */
export class Refused extends Error {
  constructor(document) {
    super(document.message);
    this.code = document.code;
    this.hint = document.hint;
  }
}

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
  constructor(bytes, texts) {
    this.worker = worker();
    this.worker.onmessage = ({ data }) => { const { done } = this.running; this.running = null; this.next(); done(data); };
    this.waiting = [];
    this.running = null;
    this.ready = this.put({ bytes, names: Object.entries(texts) });
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

/** Answers as the program does, from the module that gzip packed and from texts by name. */
export class Planner {
  constructor(packed, texts) {
    const unpacked = new Response(new Blob([packed]).stream().pipeThrough(new DecompressionStream("gzip"))).arrayBuffer();
    this.lines = unpacked.then((bytes) => ({ quick: new Line(bytes, texts), slow: new Line(bytes, texts) }));
    // It is told to who asks.
    this.lines.catch(() => {});
  }

  async ask(path, body, signal) {
    let lines;
    try { lines = await this.lines; } catch (error) {
      throw new Refused({ code: "broken", message: "this browser cannot run the planner of this page", hint: `open it in a newer one (${error.message})` });
    }
    const { status, text } = await (SLOW.includes(path) ? lines.slow : lines.quick).put({ path, body: body === undefined ? "" : JSON.stringify(body) }, signal);
    if (signal?.aborted) throw new DOMException("not asked any more", "AbortError");
    const document = JSON.parse(text);
    if (status !== 200) throw new Refused(document);
    return document;
  }
}
