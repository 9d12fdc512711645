// The address says which place is open, and which word of it: `#/night/goal.snr`. The way back is the browser's own.

import { alone } from "./server.js";

export const PLACES = alone ? ["card", "night", "choices"] : ["start", "camera", "night", "choices", "morning"];
/** Where one begins with another night. */
export const START = alone ? "card" : "start";

let listener = () => {};
let current = { place: "night", word: null };
/** A word has one entry in the history after its place's; it keeps it when it shuts, and the next word takes it. */
let slot = false;

function parsed() {
  const [, place, ...word] = location.hash.split("/");
  return { place: PLACES.includes(place) ? place : null, word: word.length > 0 ? decodeURIComponent(word.join("/")) : null };
}
const address = (place, word) => `#/${place}${word ? `/${encodeURIComponent(word)}` : ""}`;

export const here = () => current;

function come(cause) {
  const { place, word } = parsed();
  if (place === null) { history.replaceState(history.state, "", address(current.place, current.word)); return; }
  const before = current;
  current = { place, word };
  if (before.place !== place || before.word !== word) listener(current, before, cause);
}

/** Back from a shut word's entry leads out of the place, as if the entry were not there. */
function back() {
  const was = slot;
  slot = Boolean(history.state?.slot);
  const { place, word } = parsed();
  if (was && !slot && current.word === null && word === null && place === current.place) { history.back(); return; }
  come("address");
}

export function start(first, onMove) {
  listener = onMove;
  const { place, word } = parsed();
  current = { place: place ?? first, word };
  history.replaceState(null, "", address(current.place, current.word));
  addEventListener("popstate", back);
  addEventListener("hashchange", () => come("address"));
  listener(current, { place: null, word: null }, "start");
}

export function go(place, word = null) {
  if (place === current.place && word === current.word) return;
  if (slot && place === current.place) history.replaceState({ slot: true }, "", address(place, word));
  else {
    slot = word !== null;
    history.pushState(slot ? { slot: true } : null, "", address(place, word));
  }
  come("page");
}

export const openWord = (word) => { if (current.word !== word) go(current.place, word); };

export function closeWord() {
  if (current.word === null) return;
  history.replaceState(history.state, "", address(current.place));
  come("closed");
}
