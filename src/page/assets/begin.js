// The start: what has one got? Frames, a data sheet, nothing yet, or a night of one's own.

import { $, button, el } from "./dom.js";
import { counted, fixed, plain } from "./format.js";
import { folder, openNight, refresh } from "./files.js";
import { inWordsOfThePage } from "./labels.js";
import { kept } from "./drafts.js";
import { sheet } from "./sheet.js";
import { measureFolders } from "./measure.js";
import { go } from "./route.js";
import { ask } from "./server.js";

/** Folders with more files than this are looked into when one asks. */
const MANY = 400;
const seen = new Map();

export function start() {}

const refuse = (place, error) => place.replaceChildren(el("div", { class: "problem", role: "alert" }, el("p", {}, inWordsOfThePage(error.message)), error.hint ? el("p", { class: "small" }, inWordsOfThePage(error.hint)) : null));

/** What is in a folder of frames, by kind. */
async function look(path) {
  if (!seen.has(path)) seen.set(path, await ask("POST", "/api/frames", { path }));
  const { groups, rejected, unsaid, said_here: said } = seen.get(path);
  const count = (kind) => groups.filter((group) => group.kind === kind).reduce((sum, group) => sum + group.count, 0);
  const first = groups.find((group) => group.camera);
  return { bias: count("bias"), flat: count("flat"), dark: count("dark"), light: count("light"), other: rejected.length, unsaid, said, camera: first ? `${plain(first.camera)}${first.gain_setting === null ? "" : `, gain ${first.gain_setting}`}` : "" };
}

const WORDS = [["bias", "bias"], ["flat", "flats"], ["dark", "darks"]];

/** What the frames of each folder below were taken for, to be said where no file says it. */
function which(one, unsaid, again) {
  const kinds = new Map(), said = el("span", { role: "status" });
  const folders = Object.entries(unsaid).map(([path, count]) => {
    const name = path === "." ? "the files themselves" : plain(path);
    const choices = WORDS.map(([kind, words]) => button(words, () => { kinds.set(path, kind); said.replaceChildren(); for (const other of choices) other.setAttribute("aria-pressed", String(other.dataset.kind === kind)); }, { class: "choice", "data-kind": kind, "aria-pressed": "false", "aria-label": `${name}: ${words}` }));
    return el("p", { class: "acts", "data-which": path }, el("span", {}, el("strong", {}, name), `, ${counted(count, "frame")}:`), ...choices);
  });
  return [...folders, el("p", { class: "acts" }, button("that is so", async () => {
    if (kinds.size === 0) { said.replaceChildren("Say it of one of them first."); return; }
    await again(Object.fromEntries(kinds), said);
  }, { class: "act", "data-so": one.path }), " ", said, el("br"), el("span", { class: "quiet small" }, "It is written into a table beside the frames, sidecar.csv; the frames are not touched."))];
}

/** The folders that are to be measured together. */
const ticked = new Set();

function row(one, filled, tick) {
  const cells = ["bias", "flats", "darks", "other"].map((head) => el("td", { "data-head": head, class: "figure" }, "…"));
  const about = el("span", { class: "quiet small" }, "");
  const act = el("td", { class: "figure" });
  const name = one.path === "." ? "this folder" : plain(one.path);
  const line = el("tr", {}, el("th", { scope: "row" }, tick ? el("label", {}, tick, " ", el("strong", {}, name)) : el("strong", {}, name), el("br"), about), ...cells, act);
  const below = el("tr", { class: "which", hidden: true }, el("td", { colspan: 6 }));
  const again = async (kinds, said) => {
    try {
      seen.set(one.path, await ask("POST", "/api/kinds", { path: one.path, kinds }));
      act.replaceChildren();
      line.classList.remove("quiet");
      below.hidden = true;
      await fill();
    } catch (error) { said.replaceChildren(inWordsOfThePage(error.message), error.hint ? ` ${inWordsOfThePage(error.hint)}` : ""); }
  };
  const fill = async () => {
    try {
      const found = await look(one.path);
      cells[0].replaceChildren(fixed(found.bias));
      cells[1].replaceChildren(fixed(found.flat));
      cells[2].replaceChildren(fixed(found.dark));
      cells[3].replaceChildren(fixed(found.light + found.other));
      about.replaceChildren(found.camera);
      const dumb = Object.keys(found.unsaid).length > 0, told = el("span", { role: "status" });
      if (dumb) about.append(found.camera ? "; " : "", found.bias + found.flat + found.dark > 0 ? "some files do not say what they are: " : "the files do not say what they are: ", button("say which", () => {
        below.hidden = !below.hidden;
        below.firstChild.replaceChildren(...(below.hidden ? [] : which(one, found.unsaid, again)));
      }, { class: "link", "data-say": one.path }));
      if (found.said) about.append(found.camera || dumb ? "; " : "", "what they are was said here: ", button("say it anew", () => again({}, told), { class: "link", "data-anew": one.path }), " ", told);
      else if (!dumb && !found.camera && found.other > 0) about.append("no raw frames");
      if (found.bias + found.dark > 0) act.replaceChildren(button("measure", () => measureFolders([one.path]), { class: `act${filled() ? " main" : ""}`, "data-measure": one.path }));
      else { act.replaceChildren(tick && found.flat > 0 ? "only flats" : "nothing to measure"); line.classList.add("quiet"); }
    } catch (error) { cells.forEach((cell) => cell.replaceChildren("–")); about.replaceChildren(inWordsOfThePage(error.message)); act.replaceChildren("nothing to measure"); }
  };
  if (one.frames > MANY) { act.replaceChildren(button("look into it", fill, { class: "act" })); cells.forEach((cell, i) => cell.replaceChildren(i === 3 ? fixed(one.frames) : "–")); } else fill();
  return [line, below];
}

function frames() {
  // A folder whose frames all lie in one folder below it is that folder.
  const own = folder.folders.filter((one, _, all) => !all.some((other) => other.path !== one.path && (one.path === "." || other.path.startsWith(`${one.path}/`)) && (other.frames === one.frames || one.path === ".")));
  const parts = own.filter((one) => !own.some((other) => other !== one && one.path.startsWith(`${other.path}/`)));
  if (parts.length === 0) return [el("p", {}, "No frames in this folder yet. Put bias, flats and darks beside this page; they appear here by themselves.")];
  let given = folder.nights.length > 0;
  for (const path of ticked) if (!parts.some((one) => one.path === path)) ticked.delete(path);
  const together = el("p", { class: "acts" });
  const offered = () => together.replaceChildren(...(ticked.size > 1 ? [button(`measure these ${ticked.size} together`, () => measureFolders([...ticked]), { class: "act", id: "measure-together" })] : [el("span", { class: "quiet small" }, "Frames of one camera that lie in several folders: tick them to measure them together.")]));
  const tick = (path) => { const box = el("input", { type: "checkbox", "data-tick": path, checked: ticked.has(path) }); box.addEventListener("change", () => { if (box.checked) ticked.add(path); else ticked.delete(path); offered(); }); return box; };
  offered();
  return [el("p", {}, "Bias, flats and darks, sorted or not. Measured here, and believed most."),
    el("table", { class: "cards frames" }, el("thead", {}, el("tr", {}, el("th", { scope: "col" }, "folder beside this page"), ...["bias", "flats", "darks", "other"].map((head) => el("th", { scope: "col", class: "figure" }, head)), el("td", {}))),
      el("tbody", {}, ...parts.flatMap((one) => row(one, () => { const first = !given; given = true; return first; }, parts.length > 1 ? tick(one.path) : null)))),
    parts.length > 1 ? together : null];
}

function nights() {
  const drafts = kept();
  if (folder.nights.length === 0) return [];
  return [el("section", { class: "row" }, el("h2", {}, "A night of mine"), el("ul", { class: "nights others" }, ...folder.nights.map((name) => el("li", {},
    button(plain(name.replace(/\.toml$/, "")), async () => { try { await openNight(name); if ($("question").hidden) go("night"); } catch (error) { refuse($("begin-said"), error); } }, { class: "link name", "data-night": name }),
    drafts.has(name) ? el("span", { class: "quiet small" }, ` ${counted(drafts.get(name), "word")} never saved, kept here`) : null))))];
}

export async function show() {
  const place = $("place-start");
  const build = () => {
    const list = el("div", { id: "frames-list" }, ...frames());
    place.replaceChildren(el("h1", { tabindex: -1 }, "What have you got?"), el("p", { class: "quiet" }, "Any of these leads to a plan; you can come back for the others."), el("div", { id: "begin-said" }),
      ...(folder.nights.length > 0 ? nights() : []),
      el("section", { class: "row" }, el("h2", {}, "Frames of my camera"), list, el("p", { class: "small" }, el("a", { href: "#/camera/frames" }, "which frames to take"), el("br"), el("span", { class: "quiet" }, "cap on, a cloudy evening, one hour"))),
      el("section", { class: "row" }, el("h2", {}, "A data sheet"), sheet(), el("span", {})),
      el("section", { class: "row" }, el("h2", {}, "Nothing yet"), el("p", {}, "An invented camera in an invented garden, to play with. Everything works; nothing in it is true."),
        el("p", {}, button("open the sample", sample, { class: "act" }))));
  };
  build();
  try { const before = JSON.stringify(folder); await refresh(); if (JSON.stringify(folder) !== before && !place.querySelector("input:focus")) build(); } catch (error) { refuse($("begin-said"), error); }
}

async function sample() {
  try {
    const { path } = await ask("POST", "/api/example", {});
    await refresh();
    await openNight(path);
    if ($("question").hidden) go("night");
  } catch (error) { refuse($("begin-said"), error); }
}
