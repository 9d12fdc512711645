// The night: as its file has it, as it is written here, and every step between the two. The program puts both together.

import { loadDraft, storeDraft } from "./drafts.js";

const MOST_STEPS = 200;
/** Tables that say one thing in one of several ways: they change as a whole. */
const WHOLE = ["site.sky", "quantum_efficiency", "site.horizon", "goal.already", "choices"];

export const night = {
  path: null, text: "", base: {}, value: {}, defaults: {}, ranges: {},
  /** Words that were not chosen but follow from another choice, with the reason. */
  taken: {},
  undo: [], redo: [],
  /** The camera of the night and its settings. */
  camera: null,
};

const listeners = new Set();
/** Calls back after each change; `what` is `typed` while a word is open, `set` when it is taken. */
export const onChange = (listener) => listeners.add(listener);
const tell = (what) => { for (const listener of listeners) listener(what); };

const isTable = (value) => value !== null && typeof value === "object" && !Array.isArray(value);
const isWhole = (way) => WHOLE.includes(way.join(".")) || WHOLE.includes(way.at(-1));
const clean = (value) => JSON.stringify(value, (_, own) => {
  if (!isTable(own)) return own;
  return Object.fromEntries(Object.entries(own).filter(([, one]) => one !== null && one !== undefined).sort(([a], [b]) => (a < b ? -1 : 1)));
}) ?? "null";
export const same = (a, b) => clean(a ?? null) === clean(b ?? null);

/** Filters that came, went or changed; entries keep their place as far as names tell. */
function filterChanges(was, now) {
  const changes = [], gone = [];
  let j = 0;
  was.forEach((filter, i) => {
    const left = was.length - i, ahead = now.length - j;
    if (j < now.length && (same(filter.name, now[j].name) || left <= ahead)) {
      changes.push(...changesBetween(filter, now[j], ["filters", i]));
      j += 1;
    } else gone.push({ key: ["filters", i], value: null, was: filter });
  });
  const kept = was.length - gone.length;
  const come = now.slice(j).map((filter, n) => ({ key: ["filters", kept + n], value: filter, was: null }));
  return [...changes, ...gone.reverse(), ...come];
}

/** What leads from one night to another: keys and values, as the program takes them. */
export function changesBetween(was, now, way = []) {
  if (same(was, now)) return [];
  if (way.length === 1 && way[0] === "filters" && Array.isArray(was ?? []) && Array.isArray(now ?? [])) return filterChanges(was ?? [], now ?? []);
  if (isTable(now) && (isTable(was) || was === null || was === undefined) && !isWhole(way)) {
    const names = new Set([...Object.keys(was ?? {}), ...Object.keys(now)]);
    return [...names].flatMap((name) => changesBetween(was?.[name], now[name], [...way, name]));
  }
  return [{ key: way, value: now ?? null, was: was ?? null }];
}

export const changes = () => changesBetween(night.base, night.value);
export const draft = (extra = []) => ({ at: night.path, text: night.text, changes: [...changes().map(({ key, value }) => ({ key, value })), ...extra] });

const at = (value, key) => key.reduce((own, step) => own?.[step], value) ?? null;
export const read = (key) => at(night.value, key);
export const inFile = (key) => at(night.base, key);

/** What is taken where the key is left out; entries of lists share theirs. */
export function standard(key) {
  const way = key[0] === "filters" ? ["filter", ...key.slice(2)] : key;
  return at(night.defaults, way);
}
/** Its value, or what is taken for it. */
export const effective = (key) => read(key) ?? standard(key);
export const range = (key) => night.ranges[key.filter((step) => typeof step === "string").join(".")] ?? null;
export const differs = (key) => !same(read(key), inFile(key));

function put(value, key, own) {
  const way = [...key], last = way.pop();
  let place = value;
  for (const step of way) place = place[step] ??= {};
  place[last] = own;
}

function steppedFrom(before) {
  night.undo.push(before);
  if (night.undo.length > MOST_STEPS) night.undo.shift();
  night.redo = [];
}

const snapshot = () => ({ value: structuredClone(night.value), taken: { ...night.taken } });
let held = null;

/** Begins a change that can be taken back: what is written until `take` is one step. */
export const hold = () => { held ??= snapshot(); };
/** Writes while the hand is still on it. */
export function type(key, value) {
  hold();
  put(night.value, key, value);
  delete night.taken[key.join(".")];
  tell("typed");
}
export const isHeld = () => held !== null;
/** Keeps what was typed, as one step. */
export function take() {
  const before = held;
  held = null;
  if (before === null) return;
  if (!same(before.value, night.value)) steppedFrom(before);
  tell("set");
}
/** Puts back what stood there. */
export function letGo() {
  const before = held;
  held = null;
  if (before === null) return;
  Object.assign(night, { value: before.value, taken: before.taken });
  tell("set");
}

/** Sets keys in one step; `null` takes one out. `taken` says which of them nobody chose, and why. */
export function set(pairs, taken = {}) {
  const before = held ?? snapshot();
  held = null;
  for (const [key, value] of pairs) {
    put(night.value, key, value);
    delete night.taken[key.join(".")];
  }
  Object.assign(night.taken, taken);
  if (!same(before.value, night.value)) steppedFrom(before);
  tell("set");
}

function stepped(from, to) {
  letGo();
  const step = from.pop();
  if (!step) return false;
  to.push(snapshot());
  Object.assign(night, { value: step.value, taken: step.taken });
  tell("stepped");
  return true;
}
export const undo = () => stepped(night.undo, night.redo);
export const redo = () => stepped(night.redo, night.undo);

/** What both sides changed, and what each changed alone. */
export function merged(base, mine, theirs) {
  const ours = changesBetween(base, mine), others = changesBetween(base, theirs);
  const structural = (list) => list.some(({ key }) => key[0] === "filters" && key.length === 2);
  const touches = (a, b) => {
    if (a[0] === "filters" && b[0] === "filters" && (structural(ours) || structural(others))) return true;
    const short = Math.min(a.length, b.length);
    return JSON.stringify(a.slice(0, short)) === JSON.stringify(b.slice(0, short));
  };
  const value = structuredClone(theirs), conflicts = [];
  for (const change of ours) {
    const other = others.find((one) => touches(one.key, change.key));
    put(value, change.key, change.value);
    if (other && !same(at(mine, change.key), at(theirs, change.key))) conflicts.push({ key: change.key, mine: at(mine, change.key), theirs: at(theirs, change.key) });
  }
  // Entries of a list that were taken out leave no holes.
  if (Array.isArray(value.filters)) value.filters = value.filters.filter((filter) => filter !== null);
  const told = others.filter((change) => !conflicts.some(({ key }) => touches(key, change.key)));
  return { value, conflicts, told };
}

/** Takes a file as it was opened. A draft of it that is kept in this browser is put on top; what both changed is returned. */
export function open(opened, { fresh = false } = {}) {
  Object.assign(night, {
    path: opened.path, text: opened.text, base: opened.night, value: structuredClone(opened.night),
    defaults: opened.defaults, ranges: opened.ranges ?? {}, taken: {}, undo: [], redo: [],
  });
  held = null;
  const kept = fresh ? null : loadDraft(opened.path);
  if (!kept) return { conflicts: [], told: [], restored: 0 };
  Object.assign(night, { undo: kept.undo ?? [], redo: kept.redo ?? [], taken: kept.taken ?? {} });
  if (kept.text === opened.text) {
    night.value = kept.value;
    return { conflicts: [], told: [], restored: changes().length };
  }
  return { ...takeOver(kept.base, kept.value), restored: changes().length };
}

/** Puts a draft on a file that has become another one. */
function takeOver(base, mine) {
  const { value, conflicts, told } = merged(base, mine, night.base);
  night.value = value;
  return { conflicts, told };
}

/** The file as it is by now, with what was changed here. */
export function renewed(opened) {
  const { base, value: mine } = night;
  Object.assign(night, { text: opened.text, base: opened.night, defaults: opened.defaults, ranges: opened.ranges ?? night.ranges });
  const found = takeOver(base, mine);
  tell("stepped");
  return found;
}

/** After saving: what is written here is what the file has. */
export function saved(opened) {
  Object.assign(night, { path: opened.path, text: opened.text, base: opened.night, value: structuredClone(opened.night), taken: {} });
  tell("stepped");
}

const words = () => changes().length;
onChange(() => storeDraft(night, Object.assign(() => words() > 0 || night.undo.length > 0, { count: words })));
