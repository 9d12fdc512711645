// A folder of frames is measured while the page looks on.

import { $, plain, refuse, show } from "./dom.js";
import { doubts } from "./answer.js";
import { ask } from "./server.js";
import { refresh } from "./files.js";

const LOOK_AGAIN_MS = 200;

let waiting = false;

function far({ frames, frames_done: done, elapsed_s: elapsed }) {
  if (frames === 0) return "looking at the frames";
  const rate = done / Math.max(elapsed, 1e-3);
  const left = done === 0 ? "" : `, ${rate.toFixed(rate < 10 ? 1 : 0)} a second, ${Math.ceil((frames - done) / rate)} s left`;
  return `${done} of ${frames} frames${left}`;
}

function told(document) {
  const running = document.state === "running";
  show($("running"), running);
  show($("stop"), running);
  $("measure").disabled = running;
  if (running) {
    $("bar").max = Math.max(1, document.frames);
    $("bar").value = document.frames_done;
    $("far").replaceChildren(far(document));
    return;
  }
  show($("keep-profile"), document.state === "done");
  if (document.state === "done") {
    $("measured").replaceChildren(plain(document.line));
    doubts(document.camera.caveats, $("measured-doubts"));
  }
  if (document.state === "failed") refuse($("measure-problem"), document.error);
}

async function look() {
  if (waiting) return;
  waiting = true;
  try {
    for (;;) {
      const document = await ask("GET", "/api/measure");
      told(document);
      if (document.state !== "running") break;
      await new Promise((done) => setTimeout(done, LOOK_AGAIN_MS));
    }
  } catch (error) { refuse($("measure-problem"), error); } finally { waiting = false; }
}

export function start(saved) {
  $("measure").addEventListener("click", async () => {
    show($("measure-problem"), false);
    show($("keep-profile"), false);
    $("measured").replaceChildren();
    $("measured-doubts").replaceChildren();
    try {
      told(await ask("POST", "/api/measure", { path: $("folders").value }));
      await look();
    } catch (error) { refuse($("measure-problem"), error); }
  });
  $("stop").addEventListener("click", () => ask("POST", "/api/stop", {}).catch((error) => refuse($("measure-problem"), error)));
  $("save-profile").addEventListener("click", async () => {
    const name = $("profile-name").value.trim();
    try {
      const { path } = await ask("POST", "/api/profile", { path: name });
      show($("measure-problem"), false);
      $("measured").replaceChildren(`The profile is saved as ${plain(path)}; choose it in the night above.`);
      await refresh();
      saved();
    } catch (error) { refuse($("measure-problem"), error); }
  });
  // A measurement may be running since before this page was loaded.
  look();
}
