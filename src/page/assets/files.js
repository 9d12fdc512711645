// Night files and profiles of the folder: opened, saved, never over somebody else's change.

import { $, counted, el, plain, refuse } from "./dom.js";
import { draft, night, take } from "./night.js";
import { ask } from "./server.js";

export const folder = { nights: [], profiles: [], folders: [] };

function fill(select, list, chosen) {
  select.replaceChildren(...list.map(([value, words]) => { const option = el("option", { value }, plain(words)); option.selected = value === chosen; return option; }));
  select.disabled = list.length === 0;
}

export async function refresh() {
  Object.assign(folder, await ask("GET", "/api/files"));
  $("folder").replaceChildren(plain(folder.name));
  fill($("nights"), folder.nights.map((name) => [name, name]), night.path);
  const frames = $("folders").value || folder.folders[0]?.path;
  fill($("folders"), folder.folders.map(({ path, frames: count }) => [path, `${path === "." ? "this folder" : path} (${counted(count, "frame")})`]), frames);
  $("measure").disabled = folder.folders.length === 0;
  $("open").disabled = folder.nights.length === 0;
}

export function told() {
  $("file").replaceChildren(night.path ? ` / ${plain(night.path)}` : "");
  const count = night.changes.size;
  $("unsaved").replaceChildren(count === 0 ? "" : count === 1 ? "1 change is not saved" : `${count} changes are not saved`);
  $("save").disabled = count === 0 || !night.path;
  $("save-as").disabled = !night.path;
}

/** The profile's name as it is written in a night: relative to the night's own folder. */
export function profilesFromHere() {
  const up = (night.path ?? "").split("/").slice(0, -1);
  return folder.profiles.map((name) => {
    const parts = name.split("/");
    let shared = 0;
    while (shared < up.length && shared < parts.length - 1 && up[shared] === parts[shared]) shared += 1;
    const relative = [...up.slice(shared).map(() => ".."), ...parts.slice(shared)].join("/");
    return [relative, relative];
  });
}

export function start(opened) {
  const keep = async (path, replace) => {
    try {
      const saved = await ask("POST", "/api/save", { path, night: draft(), replace });
      take(saved);
      await refresh();
      $("kept").replaceChildren(`${plain(path)} is saved.`);
      opened(saved, false);
    } catch (error) { refuse($("kept"), error); }
  };
  $("open").addEventListener("click", async () => {
    try {
      const document = await ask("POST", "/api/open", { path: $("nights").value });
      take(document);
      $("kept").replaceChildren();
      opened(document, true);
    } catch (error) { refuse($("kept"), error); }
  });
  $("save").addEventListener("click", () => keep(night.path, true));
  $("save-as").addEventListener("click", () => {
    const name = $("name").value.trim();
    if (name === "") { $("kept").replaceChildren("Give the new file a name first, such as my-night.toml."); $("name").focus(); return; }
    keep(name, false);
  });
  $("example").addEventListener("click", async () => {
    try {
      take(await ask("POST", "/api/example", {}));
      await refresh();
      opened(night, true);
    } catch (error) { refuse($("problem"), error); }
  });
  window.addEventListener("beforeunload", (event) => { if (night.changes.size > 0) event.preventDefault(); });
}
