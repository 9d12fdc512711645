// Folders of frames are measured while the page looks on.

import { ask } from "./server.js";
import { go } from "./route.js";

const LOOK_AGAIN_MS = 200;

let waiting = false, listener = () => {};
/** Is told each state of the measurement: `none`, `running`, `done`, `failed`. */
export const onMeasure = (own) => { listener = own; };

export const state = { document: { state: "none" }, kept: null };

async function look() {
  if (waiting) return;
  waiting = true;
  try {
    for (;;) {
      state.document = await ask("GET", "/api/measure");
      listener(state.document);
      if (state.document.state !== "running") break;
      await new Promise((done) => setTimeout(done, LOOK_AGAIN_MS));
    }
  } catch (error) {
    state.document = { state: "failed", error };
    listener(state.document);
  } finally { waiting = false; }
}

export async function measureFolders(paths) {
  state.kept = null;
  go("camera");
  try {
    state.document = await ask("POST", "/api/measure", { paths });
    listener(state.document);
    await look();
  } catch (error) {
    state.document = { state: "failed", error };
    listener(state.document);
  }
}

export const stop = () => ask("POST", "/api/stop", {}).catch(() => {});
/** A measurement may be running since before this page was loaded. */
export const begin = look;
