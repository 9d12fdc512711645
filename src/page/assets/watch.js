// The night while it runs: events of a watched folder, as they come.

import { ask, listen } from "./server.js";

/** Subs that are shown, newest first, and words. */
const SHOWN = 6;
const WORDS = 2;

/** A running night: what was told so far. */
export class Night {
  constructor(changed) {
    this.changed = changed;
    this.subs = [];
    this.words = [];
    this.stacks = [];
    this.count = 0;
    this.last = 0;
    this.review = null;
    this.problem = null;
    this.running = false;
    this.stopped = null;
  }

  /** Begins to watch, or listens to a watch that runs already. */
  async begin(folder, draft) {
    const told = await ask("POST", "/api/watch", { folder, night: draft });
    this.subs = [];
    this.words = [];
    this.stacks = [];
    this.count = 0;
    this.review = null;
    this.problem = null;
    this.last = told.last_event;
    await this.follow();
  }

  async end() {
    await ask("POST", "/api/watch/stop", {});
  }

  /** Listens until the end; a connection that grows old is opened anew from the last event on. */
  async follow() {
    this.running = true;
    this.stopped = new AbortController();
    this.changed(this);
    while (this.running) {
      try {
        for await (const event of listen("/api/watch", this.last, this.stopped.signal)) this.take(event);
      } catch (error) {
        if (error.name === "AbortError") return;
        // The program may be busy, or gone: both are asked again.
        this.problem = error;
        this.changed(this);
        await new Promise((go) => setTimeout(go, 2000));
      }
    }
  }

  take(event) {
    this.last = event.id;
    const document = event.data;
    if (event.name === "said" && document.kind === "sub") {
      this.count += 1;
      this.subs.unshift(document);
      this.subs.length = Math.min(this.subs.length, SHOWN);
    } else if (event.name === "said" && document.kind === "word") {
      this.words.unshift(document);
      this.words.length = Math.min(this.words.length, WORDS);
    } else if (event.name === "stacks") {
      this.stacks = document.stacks;
    } else if (event.name === "end") {
      this.running = false;
      if (document.format === "subwell.review") this.review = document;
      else this.problem = document;
    }
    this.changed(this);
  }
}

/** Whether a folder is watched already, as after a reload of the page. */
export async function underWay() {
  return ask("GET", "/api/watching");
}
