// The morning after: last night's lights held against the plan. What watches a night while it runs has its place here too.

import { $, el } from "./dom.js";

export function start() {
  $("place-morning").replaceChildren(el("h1", { tabindex: -1 }, "No lights yet"),
    el("p", {}, "When lights of this night lie in a folder, ", el("code", {}, "subwell review FOLDER --night NIGHT.toml"), " says which are worth keeping and what the night teaches."),
    el("section", { id: "watch", "aria-label": "while it runs", hidden: true }));
}
export function show() {}
