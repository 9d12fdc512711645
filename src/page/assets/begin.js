// The start: what has one got? Frames, a data sheet, nothing yet, or a night of one's own.

import { $, button, el } from "./dom.js";
import { counted, fixed, plain } from "./format.js";
import { folder, openNight, refresh } from "./files.js";
import { inWordsOfThePage } from "./labels.js";
import { kept } from "./drafts.js";
import { sheet } from "./sheet.js";
import { measureFolder } from "./measure.js";
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
  const { groups, rejected } = seen.get(path);
  const count = (kind) => groups.filter((group) => group.kind === kind).reduce((sum, group) => sum + group.count, 0);
  const first = groups.find((group) => group.camera);
  return { bias: count("bias"), flat: count("flat"), dark: count("dark"), light: count("light"), other: rejected.length, missing: seen.get(path).missing, camera: first ? `${plain(first.camera)}${first.gain_setting === null ? "" : `, gain ${first.gain_setting}`}` : "" };
}

function row(one, filled) {
  const cells = ["bias", "flats", "darks", "other"].map((head) => el("td", { "data-head": head, class: "figure" }, "…"));
  const about = el("span", { class: "quiet small" }, "");
  const act = el("td", { class: "figure" });
  const line = el("tr", {}, el("th", { scope: "row" }, el("strong", {}, one.path === "." ? "this folder" : plain(one.path)), el("br"), about), ...cells, act);
  const fill = async () => {
    try {
      const found = await look(one.path);
      cells[0].replaceChildren(fixed(found.bias));
      cells[1].replaceChildren(fixed(found.flat));
      cells[2].replaceChildren(fixed(found.dark));
      cells[3].replaceChildren(fixed(found.light + found.other));
      about.replaceChildren(found.camera || (found.other > 0 ? "the files do not say what they are" : ""));
      if (found.bias + found.dark > 0) act.replaceChildren(button("measure", () => measureFolder(one.path), { class: `act${filled() ? " main" : ""}`, "data-measure": one.path }));
      else { act.replaceChildren("nothing to measure"); line.classList.add("quiet"); }
    } catch (error) { cells.forEach((cell) => cell.replaceChildren("–")); about.replaceChildren(inWordsOfThePage(error.message)); act.replaceChildren("nothing to measure"); }
  };
  if (one.frames > MANY) { act.replaceChildren(button("look into it", fill, { class: "act" })); cells.forEach((cell, i) => cell.replaceChildren(i === 3 ? fixed(one.frames) : "–")); } else fill();
  return line;
}

function frames() {
  // A folder whose frames all lie in one folder below it is that folder.
  const own = folder.folders.filter((one, _, all) => !all.some((other) => other.path !== one.path && (one.path === "." || other.path.startsWith(`${one.path}/`)) && (other.frames === one.frames || one.path === ".")));
  const parts = own.filter((one) => !own.some((other) => other !== one && one.path.startsWith(`${other.path}/`)));
  if (parts.length === 0) return [el("p", {}, "No frames in this folder yet. Put bias, flats and darks beside this page; they appear here by themselves.")];
  let given = folder.nights.length > 0;
  return [el("p", {}, "Bias, flats and darks, sorted or not. Measured here, and believed most."),
    el("table", { class: "cards frames" }, el("thead", {}, el("tr", {}, el("th", { scope: "col" }, "folder beside this page"), ...["bias", "flats", "darks", "other"].map((head) => el("th", { scope: "col", class: "figure" }, head)), el("td", {}))),
      el("tbody", {}, ...parts.map((one) => row(one, () => { const first = !given; given = true; return first; }))))];
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
