// The one way to the planner where there is no program: its module stands in this file, and answers in the background.

import { Planner } from "./planner.js";

export const alone = true;
export const token = "";

/** There is nobody who could go away. */
export const onGone = () => {};
/** Nothing is watched here. */
export async function* listen() {}

const stands = (id) => document.getElementById(id).textContent;
const taken = JSON.parse(stands("taken"));

/** A browser that keeps nothing of a file still works; it forgets when the page is shut. */
function storage(name) {
  try { window[name].getItem("subwell"); return; } catch { /* it refuses */ }
  const kept = new Map();
  const own = { getItem: (key) => kept.get(key) ?? null, setItem: (key, value) => { own[key] = ""; kept.set(key, String(value)); }, removeItem: (key) => { delete own[key]; kept.delete(key); } };
  for (const method of ["getItem", "setItem", "removeItem"]) Object.defineProperty(own, method, { enumerable: false });
  Object.defineProperty(window, name, { value: own });
}
storage("localStorage");
storage("sessionStorage");

const planner = new Planner(Uint8Array.from(atob(stands("module")), (letter) => letter.charCodeAt(0)), taken.texts);

const FOLDER = { format: "subwell.folder", version: 1, name: "taken along", key: `file ${taken.made}`, first: taken.night, nights: [taken.night], profiles: taken.profiles, folders: [] };

export const ask = async (method, path, body, signal) => (path === "/api/files" ? FOLDER : planner.ask(path, body, signal));
