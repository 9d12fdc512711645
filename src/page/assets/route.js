// The address says which place is open, and which word of it: `#/night/goal.snr`. The way back is the browser's own.

export const PLACES = ["start", "camera", "night", "choices", "morning"];

let listener = () => {};
let current = { place: "night", word: null };
/** Whether the open word has an entry of its own in the history. */
let pushed = false;

function parsed() {
  const [, place, ...word] = location.hash.split("/");
  return { place: PLACES.includes(place) ? place : null, word: word.length > 0 ? decodeURIComponent(word.join("/")) : null };
}
const address = (place, word) => `#/${place}${word ? `/${encodeURIComponent(word)}` : ""}`;

export const here = () => current;

function come(cause) {
  const { place, word } = parsed();
  if (place === null) { history.replaceState(null, "", address(current.place, current.word)); return; }
  const before = current;
  current = { place, word };
  if (word === null) pushed = false;
  listener(current, before, cause);
}

export function start(first, onMove) {
  listener = onMove;
  const { place, word } = parsed();
  current = { place: place ?? first, word };
  history.replaceState(null, "", address(current.place, current.word));
  addEventListener("hashchange", () => come("address"));
  listener(current, { place: null, word: null }, "start");
}

export function go(place, word = null) {
  if (place === current.place && word === current.word) return;
  history.pushState(null, "", address(place, word));
  pushed = word !== null;
  come("page");
}

/** Opens a word; from one word to the next the way back still leads to the place. */
export function openWord(word) {
  if (current.word === word) return;
  if (current.word === null) { go(current.place, word); return; }
  history.replaceState(null, "", address(current.place, word));
  come("page");
}

export function closeWord() {
  if (current.word === null) return;
  if (pushed) { history.back(); current = { ...current, word: null }; pushed = false; listener(current, { ...current, word: "" }, "closed"); return; }
  history.replaceState(null, "", address(current.place));
  come("closed");
}
