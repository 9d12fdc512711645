// Night files of the folder: opened, saved, never over somebody else's change, and never without a question over one's own.

import { $, button, download, el, show } from "./dom.js";
import { counted, plain, written } from "./format.js";
import { changes, draft, night, open, renewed, saved, set } from "./night.js";
import { dropDraft, elsewhere, storeNow } from "./drafts.js";
import { inWordsOfThePage, labelOf } from "./labels.js";
import { reported, stem } from "./report.js";
import { go, here } from "./route.js";
import { alone, ask } from "./server.js";

export const folder = { nights: [], profiles: [], folders: [] };
let opened = async () => {};

export async function refresh() {
  Object.assign(folder, await ask("GET", "/api/files"));
  $("folder").replaceChildren(`${plain(folder.name)} / `);
}

/** What the header says of the night. */
export function told() {
  $("file").replaceChildren(night.path ? plain(night.path.replace(/\.toml$/, "")) : "no night yet");
  document.title = `${night.path ? plain(night.path.replace(/\.toml$/, "")) : "no night yet"} – subwell`;
  const count = changes().length, steps = night.undo.length + night.redo.length;
  show($("changed"), Boolean(night.path) && (alone || count > 0 || steps > 0));
  $("head").classList.toggle("changing", count > 0 || steps > 0);
  if (alone) $("take-home").replaceChildren(count === 0 ? "take it home" : `${count} to take home`);
  $("unsaved")?.replaceChildren(count === 0 ? "" : count === 1 ? "1 word differs from the file" : `${count} words differ from the file`);
  if (!alone) show($("save"), count > 0);
  show($("undo"), night.undo.length > 0);
  show($("redo"), night.redo.length > 0);
}

/** The profiles' names as they are written in a night: relative to the night's own folder. */
export function profilesFromHere() {
  const up = (night.path ?? "").split("/").slice(0, -1);
  return folder.profiles.map((name) => {
    const parts = name.split("/");
    let shared = 0;
    while (shared < up.length && shared < parts.length - 1 && up[shared] === parts[shared]) shared += 1;
    return [...up.slice(shared).map(() => ".."), ...parts.slice(shared)].join("/");
  });
}

/** A question with its answers, in its own place on the page; nothing else is stopped by it. */
export function question(title, children, answers) {
  const box = $("question");
  const close = () => show(box, false);
  box.replaceChildren(el("h2", { id: "question-h", tabindex: -1 }, title), ...children, el("p", { class: "acts" }, ...answers.map(([words, act]) => button(words, async () => { close(); await act(); }, { class: "act" }))));
  show(box, true);
  box.querySelector("h2").focus();
  box.scrollIntoView({ block: "nearest" });
}

export const valueWords = (value) => (value === null || value === undefined ? "nothing" : typeof value === "number" ? written(value) : typeof value === "string" ? plain(value) : plain(JSON.stringify(value)).replace(/["{}[\]]/g, "").replaceAll(",", ", ").slice(0, 80));

/** Words that both sides changed are put side by side; those that only the file changed are told. */
function meet({ conflicts, told: taken }) {
  const words = taken.map(({ key, value }) => `${labelOf(key)}: ${valueWords(value)}`);
  if (conflicts.length === 0) {
    if (taken.length > 0) question("The file changed elsewhere", [el("p", {}, `Taken from it: ${words.join("; ")}. Your own words stay.`)], [["all right", async () => {}]]);
    return;
  }
  question("The file changed elsewhere", [
    el("p", {}, conflicts.length === 1 ? "Yours and the file’s differ in one word:" : `Yours and the file’s differ in ${conflicts.length} words:`),
    el("ul", {}, ...conflicts.map(({ key, mine, theirs }) => el("li", {}, `${labelOf(key)}: `, el("strong", {}, valueWords(mine)), " here, ", el("strong", {}, valueWords(theirs)), " there"))),
    words.length > 0 ? el("p", { class: "small" }, `Taken from the file: ${words.join("; ")}.`) : null,
  ], [
    ["keep mine", async () => {}],
    ["take the file’s", async () => set(conflicts.map(({ key, theirs }) => [key, theirs]))],
    ["keep both: save mine as a new night", async () => {
      set(conflicts.map(({ key, mine }) => [key, mine]));
      const name = freeName();
      if (await save(name, false)) opened({ note: `Yours is saved as ${name}; the file has its own.` });
    }],
  ]);
}

function freeName() {
  const stem = night.path.replace(/\.toml$/i, "");
  for (let i = 2; ; i += 1) if (!folder.nights.includes(`${stem}-${i}.toml`)) return `${stem}-${i}.toml`;
}

async function save(path, replace) {
  try {
    const own = night.path;
    const answer = await ask("POST", "/api/save", { path, night: draft(), replace });
    dropDraft(own);
    saved(answer);
    await refresh();
    told();
    $("kept").replaceChildren(`${plain(path)} is saved.`);
    return true;
  } catch (error) {
    if (error.code === "changed-on-disk") { await look(true); return false; }
    $("kept").replaceChildren(inWordsOfThePage(error.message));
    const text = error.code === "gone" ? await ask("POST", "/api/text", draft()).then((answer) => answer.text, () => null) : null;
    question("It was not saved", [el("p", {}, inWordsOfThePage(error.message)), error.hint ? el("p", { class: "small" }, inWordsOfThePage(error.hint)) : null], [
      text === null ? null : ["take it as a file", async () => download(path.split("/").at(-1), "application/toml", text)],
      ["all right", async () => {}],
    ].filter(Boolean));
    return false;
  }
}
export const saveNow = async () => { if (night.path && changes().length > 0) await save(night.path, true); };

/** Looks whether the file became another one, when the page is looked at again. */
export async function look(asked = false) {
  if (!night.path) return;
  try {
    const now = await ask("POST", "/api/open", { path: night.path });
    if (now.text === night.text) return;
    meet(renewed(now));
  } catch (error) {
    if (asked) question("It was not saved", [el("p", {}, inWordsOfThePage(error.message))], [["save it as a new file", async () => { const name = freeName(); if (await save(name, false)) opened({}); }], ["all right", async () => {}]]);
  }
}

async function really(path) {
  storeNow();
  const document = await ask("POST", "/api/open", { path });
  const found = open(document);
  await opened({ restored: found.restored });
  // A question about the night stands above the night.
  if (here().place === "start") go("night");
  if (elsewhere(path)) question("This night is open in another tab", [el("p", {}, "That tab has words that are not saved. Whoever saves last is asked; nothing is overwritten.")], [["all right", async () => {}]]);
  meet(found);
}

/** Opens another night; words that are not saved are asked for first. */
export async function openNight(path) {
  const count = changes().length;
  if (path === night.path) { await opened({}); return; }
  if (night.path === null || count === 0) { await really(path); return; }
  question(`${counted(count, "word")} of ${plain(night.path.replace(/\.toml$/, ""))} ${count === 1 ? "differs" : "differ"} from the file`, [el("p", {}, `What is to become of ${count === 1 ? "it" : "them"} before ${plain(path.replace(/\.toml$/, ""))} is opened?`)], [
    ["save", async () => { if (await save(night.path, true)) await really(path); }],
    ["keep as a draft", () => really(path)],
    ["cancel", async () => {}],
  ]);
}

export function start(onOpened) {
  opened = onOpened;
  if (alone) return;
  $("save").addEventListener("click", saveNow);
  $("save-as").addEventListener("click", async () => {
    const name = $("name").value.trim().replace(/(\.toml)?$/i, ".toml");
    if (name === ".toml") { $("kept").replaceChildren("Give the new file a name first, such as my-night."); $("name").focus(); return; }
    if (await save(name, false)) await opened({});
  });
  $("report").addEventListener("click", () => reported("plan", stem(), $("report-said")));
  addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.altKey || event.key.toLowerCase() !== "s") return;
    event.preventDefault();
    document.activeElement?.blur?.();
    saveNow();
  });
  addEventListener("focus", () => look());
  addEventListener("visibilitychange", () => { if (!document.hidden) look(); });
}
