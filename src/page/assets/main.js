// A change goes to the program at once; the newest answer is shown, the map follows.

import { $, refuse, show } from "./dom.js";
import { answer, budget, doubts, reasons } from "./answer.js";
import * as files from "./files.js";
import * as map from "./map.js";
import * as measure from "./measure.js";
import { draft, night, read, take } from "./night.js";
import { evenings, shortSet } from "./evenings.js";
import { build } from "./sentence.js";
import { ask } from "./server.js";

const PARTS = ["choices", "budget", "evenings", "short", "why", "doubts"];

let asking = null;

async function plan() {
  files.told();
  asking?.abort();
  const own = new AbortController();
  asking = own;
  const asked = draft();
  $("said").classList.add("stale");
  $("choices").setAttribute("aria-busy", "true");
  try {
    const document = await ask("POST", "/api/plan", asked, own.signal);
    if (asking !== own) return;
    answer(document);
    // The rest is below the answer and may come a moment later.
    const comingMaps = ask("POST", "/api/map", asked, own.signal);
    budget(document);
    reasons(document);
    doubts(document.caveats, $("caveats"));
    for (const part of PARTS) show($(part), true);
    evenings(document);
    shortSet(document);
    show($("doubts"), document.caveats.length > 0);
    const maps = await comingMaps;
    if (asking !== own) return;
    map.maps(maps);
    $("choices").setAttribute("aria-busy", "false");
  } catch (error) {
    if (error.name === "AbortError" || asking !== own) return;
    // The old answer is to a question that is no longer asked.
    $("said").replaceChildren();
    $("said").classList.remove("stale");
    $("choices").setAttribute("aria-busy", "false");
    for (const part of PARTS) show($(part), false);
    refuse($("problem"), error);
  }
}

async function gains() {
  night.gains = [];
  night.camera = "";
  const profile = read(["camera", "profile"]);
  if (!profile) return;
  try {
    const camera = await ask("POST", "/api/camera", { at: night.path, profile });
    night.camera = camera.camera;
    night.gains = camera.modes.map((mode) => [mode.gain_setting, mode.gain_setting === null ? "the only one" : String(mode.gain_setting)]).filter(([value]) => value !== null);
  } catch { /* the plan says what is wrong with the profile */ }
}

function sentence() {
  build(files.profilesFromHere(), plan, async (key) => {
    if (key[0] === "camera" && key[1] === "profile") await gains();
    sentence();
    document.querySelector(`[data-key='${JSON.stringify(key)}']`)?.focus();
  });
}

async function opened() {
  show($("empty"), false);
  for (const part of ["answer", "night"]) show($(part), true);
  await gains();
  sentence();
  await plan();
}

async function begin() {
  files.start(opened);
  map.start();
  measure.start(async () => { if (night.path) { sentence(); } });
  try {
    await files.refresh();
    const first = files.folder.first ?? files.folder.nights[0];
    if (!first) {
      show($("empty"), true);
      for (const part of ["answer", "night"]) show($(part), false);
      files.told();
      return;
    }
    take(await ask("POST", "/api/open", { path: first }));
    await files.refresh();
    await opened();
  } catch (error) { refuse($("problem"), error); files.told(); }
}

begin();
