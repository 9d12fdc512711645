// What is told to those who hear the page: politely, a moment after the last change.

import { $ } from "./dom.js";

const PAUSE_MS = 600;
let timer = null;

export function announce(words) {
  clearTimeout(timer);
  timer = setTimeout(() => { $("announced").replaceChildren(words); }, PAUSE_MS);
}
