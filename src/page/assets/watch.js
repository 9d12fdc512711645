// A folder that is watched: its events, as they come.

import { fiveDigits } from "./format.js";
import { ask, listen } from "./server.js";

/** Subs that are shown, newest first, and words. */
const SHOWN = 6, WORDS = 2;
/** Who was cut off asks again after so long. */
const AGAIN_MS = 2000;

/** A stack as a night file writes it: without what it does not say, a measured sky as value and uncertainty. */
const whole = (stack) => JSON.parse(JSON.stringify(stack, (key, own) => (key === "e_per_s" ? fiveDigits(own) : own ?? undefined)));

/** What was told of a running night so far. */
export class Running {
  constructor(changed) {
    this.changed = changed;
    this.forget();
    this.running = false;
    this.folder = "";
  }

  forget() {
    this.subs = [];
    this.all = [];
    this.words = [];
    this.stacks = [];
    this.count = 0;
    this.newest = null;
    this.review = null;
    this.inHand = [];
    this.problem = null;
  }

  /** Begins to watch a folder for a night; `once` takes it as it is and ends. */
  async begin(folder, night, once) {
    const { last_event: last } = await ask("POST", "/api/watch", { folder, night, once });
    this.forget();
    await this.listen(folder, last);
  }

  end() { return ask("POST", "/api/watch/stop", {}); }

  /** Listens from an event on until the end; a connection that grows old is opened anew. */
  async listen(folder, last) {
    this.folder = folder;
    this.last = last;
    this.running = true;
    this.changed();
    while (this.running) {
      try {
        for await (const event of listen("/api/watch", this.last)) this.take(event);
      } catch (error) {
        this.problem = error;
        this.changed();
        await new Promise((go) => { setTimeout(go, AGAIN_MS); });
      }
    }
  }

  take({ id, name, data }) {
    this.last = id;
    this.problem = null;
    if (name === "said" && data.kind === "sub") {
      this.count += 1;
      this.newest = data;
      this.subs = [data, ...this.subs].slice(0, SHOWN);
      this.all.push(data);
      // The stacks that follow are drawn.
      return;
    }
    if (name === "said" && data.kind === "word") this.words = [data, ...this.words].slice(0, WORDS);
    else if (name === "stacks") this.stacks = data.stacks;
    else if (name === "in-hand") this.inHand = data.already.map(whole);
    else if (name === "end") {
      this.running = false;
      if (data.format === "subwell.review") this.review = data; else this.problem = data;
    }
    this.changed();
  }
}

/** Whether a folder is watched already, as after a reload. */
export const underWay = () => ask("GET", "/api/watching");
