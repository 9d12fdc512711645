// What changed away from home: the list, and the night's text to copy or to save.

import { $, button, download, el, show } from "./dom.js";
import { counted, plain } from "./format.js";
import { valueWords } from "./files.js";
import { labelOf } from "./labels.js";
import { changes, draft, night, set } from "./night.js";
import { ask } from "./server.js";

const nameOf = (path) => path.split("/").at(-1);

async function copied(text, said) {
  try { await navigator.clipboard.writeText(text); said.replaceChildren("Copied."); } catch {
    // A file may not reach the clipboard by itself everywhere.
    getSelection().selectAllChildren($("home-text"));
    said.replaceChildren("Marked: copy it by hand.");
  }
}

async function draw() {
  const list = changes(), box = $("home"), said = el("p", { role: "status" });
  const close = button("close", () => { show(box, false); $("take-home").setAttribute("aria-expanded", "false"); }, { class: "act" });
  const head = el("h2", { id: "home-h", tabindex: -1 }, list.length === 0 ? "Nothing changed here yet" : `${counted(list.length, "word")} to take home`);
  box.replaceChildren(head);
  try {
    const { text } = await ask("POST", "/api/text", draft());
    box.append(
      el("ul", {}, ...list.map(({ key, was, value }) => el("li", {}, `${labelOf(key)}: `, el("span", {}, valueWords(was)), " → ", el("strong", {}, valueWords(value))))),
      el("p", { class: "acts" }, button("copy", () => copied(text, said), { class: "act main" }), button(`save ${plain(nameOf(night.path))}`, () => download(nameOf(night.path), "application/toml", text), { class: "act" }),
        list.length > 0 ? button("back to what I took along", () => { set(list.map(({ key, was }) => [key, was]).reverse()); draw(); }, { class: "act" }) : null, close),
      said,
      el("details", {}, el("summary", {}, "the night file as text"), el("pre", { id: "home-text", tabindex: 0 }, text)));
  } catch (error) { box.append(el("p", { role: "alert" }, plain(error.message)), el("p", { class: "acts" }, close)); }
}

export function start() {
  $("take-home").addEventListener("click", async () => {
    const open = $("home").hidden;
    show($("home"), open);
    $("take-home").setAttribute("aria-expanded", String(open));
    if (open) { await draw(); $("home-h").focus(); }
  });
}
