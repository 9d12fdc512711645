// A change goes to the program at once; the newest answer is shown, and what lies below follows when the hand rests.

import { $, el, show } from "./dom.js";
import { capital, counted, plain, written } from "./format.js";
import * as answers from "./answer.js";
import * as files from "./files.js";
import * as map from "./map.js";
import * as picture from "./picture.js";
import * as sentence from "./sentence.js";
import * as starts from "./starts.js";
import { places, planned } from "./places.js";
import { begin as beginDrafts } from "./drafts.js";
import { evenings, shortSet } from "./evenings.js";
import { textures } from "./filters.js";
import { inWordsOfThePage, wordOf } from "./labels.js";
import { draft, inFile, isHeld, letGo, night, onChange, redo, set, undo } from "./night.js";
import { announce } from "./reading.js";
import * as route from "./route.js";
import { alone, ask, onGone } from "./server.js";
import { catalogueOf } from "./target.js";
import { onRedraw, problems } from "./words.js";

const PARTS = ["choice-map", "evenings", "short", "why", "doubts"];
/** What lies below the answer waits so long for the hand to rest. */
const REST_MS = 140;

/** A plan that took longer than this is not asked for in pieces that nobody looks at. */
const SLOW_MS = 400;
/** Under this nothing is said of waiting. */
const UNSEEN_MS = 150;

let asking = null, plan = null, resting = null, flying = false, next = null;

/** Asks for the plan of the night as it is written: one question at a time, and always the newest. */
async function replan(asked = {}) {
  files.told();
  asking?.abort();
  clearTimeout(resting);
  $("place-night").setAttribute("aria-busy", "true");
  if (flying) { next = asked; return; }
  flying = true;
  try { await ones(asked); } finally {
    flying = false;
    if (next) { const newest = next; next = null; replan(newest); }
  }
}

/** `typed` while a word is open, `hand` while a point of the map is held. */
async function ones({ typed = false, hand = null }) {
  const own = new AbortController();
  asking = own;
  const slow = setTimeout(() => answers.stopped("computing", null), UNSEEN_MS);
  const begun = performance.now();
  try {
    const document = await ask("POST", "/api/plan", draft(hand ?? []));
    // Under a hand that moves each answer is shown, else the newest alone.
    if ((next && !hand) || asking !== own) return;
    refuse(null);
    plan = document;
    announce(answers.answer(document, { typed, hand: hand !== null }));
    if (problems.size > 0) answers.stopped("one word below stops a new one", [...problems.keys()][0]);
    if (hand) { answers.budget(best ?? document, document); done(); return; }
    best = document;
    planned(document);
    $("state-night").replaceChildren(answers.shortest(document));
    const took = performance.now() - begun;
    resting = setTimeout(() => rest(document, own, took > SLOW_MS), typed ? REST_MS : 0);
  } catch (error) {
    if (next || asking !== own) return;
    // The old answer is to a question that is no longer asked.
    planned(null, error.message);
    refuse(error);
    done();
  } finally { clearTimeout(slow); }
}
let best = null;
const done = () => $("place-night").setAttribute("aria-busy", "false");

/** What the program refuses stands under the breath of its word, with one button that mends it. */
function refuse(error) {
  if (error === null) { if (refused) { refused = false; sentence.setRefused(null); document.querySelectorAll("#sentence .refused").forEach((one) => one.remove()); } return; }
  refused = true;
  const word = wordOf(error);
  const note = el("div", { class: "problem refused", role: "alert" }, el("p", {}, first(inWordsOfThePage(error.message)), "."), error.hint ? el("p", { class: "small" }, first(inWordsOfThePage(error.hint)), ".") : null);
  const mend = mending(error);
  if (mend) { const act = el("button", { type: "button", class: "act" }, mend[0]); act.addEventListener("click", mend[1]); note.append(el("p", {}, act)); }
  sentence.setRefused({ word, note });
  answers.stopped(plan ? "the last answer; one word below stops a new one" : "one word below stops an answer", word);
  if (isHeld()) { document.querySelectorAll("#sentence .refused").forEach((one) => one.remove()); const breath = document.querySelector(`[data-word="${CSS.escape(word ?? "")}"]`)?.closest(".breath") ?? document.querySelector("#sentence .breath"); breath?.children[1].append(note); } else sentence.draw();
}
let refused = false;
const first = (text) => capital(text).replace(/\.$/, "");

function mending(error) {
  const next = /date = "(\d{4}-\d\d-\d\d)"/.exec(error.hint ?? "");
  if (next) return ["go to that evening", () => set([[["goal", "date"], next[1]]])];
  const reach = /signal-to-noise ratio (?:of|to) ([\d.]+)/.exec(error.message);
  if (reach && Number(reach[1]) > 0.02 && night.value.goal?.hours == null) {
    const snr = Number((0.97 * Number(reach[1])).toPrecision(2));
    return [`ask for ${written(snr)}`, () => set([[["goal", "snr"], snr], [["goal", "picture"], null]])];
  }
  if (night.undo.length > 0 || isHeld()) return ["put back what stood there", () => { if (isHeld()) letGo(); else undo(); }];
  const word = wordOf(error);
  if (word === "camera.profile") return ["choose a camera", () => route.openWord(word)];
  const key = (word ?? "").split(".");
  return word !== null && inFile(key) !== null && key[0] !== "filters" ? ["leave it out", () => set([[key, null]])] : null;
}

function below(document) {
  answers.reasons(document);
  answers.doubts(document.caveats, $("caveats"));
  for (const part of PARTS) show($(part), true);
  evenings(document);
  shortSet(document);
  show($("doubts"), document.caveats.length > 0);
}

async function rest(document, own, slow) {
  try {
    answers.budget(document);
    below(document);
    await picture.picture(document, own.signal);
    if (asking !== own) return;
    const maps = await ask("POST", "/api/map", draft(map.FREE), own.signal);
    if (asking !== own) return;
    map.maps(maps);
    done();
    await starts.starts(document, own.signal, slow);
  } catch (error) {
    if (error.name !== "AbortError" && asking === own) { show($("choice-map"), false); done(); }
  }
}

const state = (place, words) => $(`state-${place}`)?.replaceChildren(words);

function placed({ place, word }, before, cause) {
  for (const one of route.PLACES) show($(`place-${one}`), one === place);
  document.querySelectorAll("#places a").forEach((link) => { if (link.dataset.place === place) link.setAttribute("aria-current", "page"); else link.removeAttribute("aria-current"); });
  if (place !== before.place) {
    show($("question"), false);
    if (cause !== "start") scrollTo(0, 0);
    places[before.place]?.leave?.();
    places[place]?.show();
    if (cause !== "start") document.querySelector(`#place-${place} h1`)?.focus({ preventScroll: true });
  }
  if (place === "night" && night.path && (word !== before.word || place !== before.place)) sentence.draw();
}

async function opened({ restored = 0, note = "" } = {}) {
  problems.clear();
  answers.forget();
  plan = null;
  await sentence.readCamera();
  state("camera", night.camera ? cameraState() : "none yet");
  state("choices", "");
  files.told();
  if (!alone) $("name").value = "";
  $("kept").replaceChildren(note || (restored > 0 ? `${counted(restored, "word")} that ${restored === 1 ? "was" : "were"} never saved ${restored === 1 ? "is" : "are"} kept here.` : ""));
  sentence.draw();
  replan();
}
const cameraState = () => { const { provenance } = night.camera.profile; return `${plain(night.camera.camera)}, ${provenance === "measured" ? "measured" : "from a data sheet"}`; };

function keys(event) {
  // Escape shuts what is open, and puts back what was typed in it.
  if (event.key === "Escape" && route.here().word !== null && route.here().place === "night") { event.preventDefault(); letGo(); route.closeWord(); return; }
  if (!(event.ctrlKey || event.metaKey) || event.altKey || event.key.toLowerCase() !== "z") return;
  if (event.target.matches?.("input")) return;
  event.preventDefault();
  problems.clear();
  if (event.shiftKey) redo(); else undo();
}

/** The answer goes into the header when it has scrolled away. */
function sticky() {
  new IntersectionObserver(([entry]) => show($("short-answer"), !entry.isIntersecting && entry.boundingClientRect.top < 0 && route.here().place === "night"), { rootMargin: "-44px 0px 0px 0px" }).observe($("said"));
}

async function start() {
  // What belongs to the other kind of page is not there at all.
  document.querySelectorAll(alone ? ".served" : ".alone").forEach((one) => one.remove());
  $("file").href = `#/${route.START}`;
  document.body.append(textures());
  onGone((gone, able) => { show($("gone"), gone); $("gone").replaceChildren(!gone ? "" : able ? "the program has ended: the page plans on without it, and keeps your words; to save, measure or watch, start it again" : "the program has ended; your words are kept here"); });
  $("colours").addEventListener("click", () => { const open = $("themes").classList.toggle("open"); $("colours").setAttribute("aria-expanded", String(open)); });
  $("skip").addEventListener("click", (event) => { event.preventDefault(); ($("answer").offsetParent ? $("answer") : $("main")).focus(); });
  $("undo").addEventListener("click", () => { problems.clear(); undo(); });
  $("redo").addEventListener("click", () => { problems.clear(); redo(); });
  addEventListener("keydown", keys);
  addEventListener("click", (event) => {
    const link = event.target.closest?.("#stopped a");
    if (link) { event.preventDefault(); if (link.dataset.to && link.dataset.to !== "null") document.querySelector(`[data-word="${CSS.escape(link.dataset.to)}"]`)?.focus(); }
  });
  files.start(opened);
  map.start(() => replan({ hand: map.hand() }));
  picture.start();
  starts.start();
  sticky();
  onRedraw((what) => {
    if (what === "stopped") { answers.stopped("one word below stops a new one", [...problems.keys()][0]); return; }
    if (what === "problems") { if (problems.size === 0) replan({ typed: true }); return; }
    sentence.draw();
    if (problems.size === 0) replan();
  });
  onChange((what) => {
    map.release();
    if (what === "typed") { replan({ typed: true }); return; }
    sentence.draw();
    replan();
  });
  try {
    await files.refresh();
    await beginDrafts(files.folder.key ?? files.folder.name);
    await catalogueOf();
    const first = files.folder.first ?? files.folder.nights[0];
    for (const own of Object.values(places)) own.start(opened);
    if (first) await files.openNight(first);
    else { for (const place of ["camera", "night"]) state(place, "none yet"); state("choices", "after a night"); files.told(); }
    state("morning", "after some lights");
    route.start(alone ? route.START : first ? "night" : route.START, placed);
  } catch (error) {
    files.told();
    route.start("night", placed);
    show($("place-night"), true);
    answers.stopped(plain(error.message), null);
    $("sentence").replaceChildren(el("div", { class: "problem", role: "alert" }, el("p", {}, inWordsOfThePage(error.message)), error.hint ? el("p", { class: "small" }, inWordsOfThePage(error.hint)) : null), el("p", {}, alone ? null : el("a", { href: "#/start" }, "begin with something else")));
  }
}

start();
