// The underlined words: what opens when one is touched, and what is said when it cannot be.

import { button, el, unseen } from "./dom.js";
import { capital, plain, united, written } from "./format.js";
import { differs, effective, hold, inFile, letGo, night, range, read, set, standard, take, type } from "./night.js";
import { closeWord, here, openWord } from "./route.js";

/** Words that hold something that cannot be, with what was typed and why not. */
export const problems = new Map();

let again = () => {};
/** What is called when the sentence is to be drawn anew. */
export const onRedraw = (redraw) => { again = redraw; };

export const idOf = (key) => key.join(".");
const keysOf = (own) => own.keys ?? [own.key];

function stateOf(own) {
  const keys = keysOf(own);
  if (problems.has(own.id)) return "cannot";
  if (keys.some(differs)) return night.taken[own.id] ? "taken changed" : "changed";
  return keys.every((key) => read(key) === null) && !own.given ? "taken" : "given";
}

const STATES = { cannot: "cannot be", changed: "differs from the file", taken: "taken for you", given: "", "taken changed": "taken for you, differs from the file" };

/** An underlined word. `open` makes what unfolds under its breath. */
export function word(own) {
  const state = stateOf(own);
  const is = here().word === own.id;
  if (is && own.field) return own.field(own, state);
  const said = STATES[state] ? `, ${STATES[state]}` : "";
  return el("button", {
    type: "button", class: `word ${state}${is ? " open" : ""}`, "data-word": own.id, "aria-expanded": own.open ? String(is) : null,
    onclick: () => (is ? closeWord() : openWord(own.id)),
    onkeydown: (event) => { if (event.key === "F2") { event.preventDefault(); openWord(own.id); } },
  }, unseen(`${own.label}: `), problems.get(own.id)?.raw || own.shown || " ", said ? unseen(said) : "");
}

/** A text that was typed as a number; `undefined` while it is none. */
export function parsed(raw) {
  const text = raw.trim().replace(/[\u2009\u00a0 ]/g, "").replace("−", "-").replace(",", ".");
  if (text === "") return null;
  return /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i.test(text) ? Number(text) : undefined;
}

/** A number as it is typed. */
const raw = (value) => String(Number(value)).replace("-", "−");

/** One step up or down: two digits that count. */
function stepped(value, direction, big) {
  const size = Math.abs(value) > 0 ? 10 ** (Math.floor(Math.log10(Math.abs(value))) - 1) : 0.1;
  const step = (Math.abs(value) >= 10 && size < 1 ? 1 : size) * (big ? 10 : 1);
  return Number((Math.round(value / step) * step + direction * step).toPrecision(10));
}

export const between = (bounds, unit) => (bounds ? `between ${written(bounds[0])} and ${united(written(bounds[1]), unit)}` : "a number");

/** Why a typed text cannot stand, or nothing. */
function refusal(own, raw) {
  const value = parsed(raw);
  const bounds = own.range ?? range(own.key);
  if (value === undefined) return `${capital(own.label)} is “${plain(raw).slice(0, 40)}”, which is no number. It lies ${between(bounds, own.unit)}.`;
  if (value === null) return own.required ? `${capital(own.label)} is empty. It lies ${between(bounds, own.unit)}.` : null;
  if (own.whole && !Number.isInteger(value)) return `${capital(own.label)} is a whole number.`;
  if (bounds && (value < bounds[0] || value > bounds[1])) return `${capital(own.label)} is ${written(value)}. It lies ${between(bounds, own.unit)}.`;
  return null;
}

/** A number as a field in the sentence: the answer follows each key, and nothing is marked until it is left. */
export function numberField(own, state = "") {
  const start = own.value ?? null;
  const input = el("input", {
    type: "text", inputmode: "decimal", class: `word open field ${state}`, "data-word": own.id, "aria-label": own.label, autocomplete: "off", spellcheck: "false",
    value: problems.get(own.id)?.raw ?? (start === null ? "" : raw(start)), placeholder: own.none ?? "",
  });
  const write = own.write ?? ((value) => type(own.key, value));
  const width = () => { input.style.width = `${Math.max(3, input.value.length + 1)}ch`; };
  let done = false;
  const follow = () => {
    width();
    if (problems.has(own.id)) { problems.delete(own.id); again("problems"); }
    const value = parsed(input.value);
    if (value === undefined || refusal(own, input.value) !== null) return;
    hold();
    write(value);
  };
  const leave = () => {
    if (done) return;
    done = true;
    const why = refusal(own, input.value);
    if (why) { letGo(); problems.set(own.id, { why, raw: input.value, label: own.label, back: start, unit: own.unit }); again("stopped"); } else take();
  };
  input.addEventListener("input", follow);
  input.addEventListener("blur", () => { if (!done) { leave(); if (here().word === own.id) closeWord(); else again("set"); } });
  input.addEventListener("keydown", (event) => {
    if (event.key === "Enter") { event.preventDefault(); leave(); closeWord(); }
    else if (event.key === "Escape") { event.preventDefault(); event.stopPropagation(); done = true; letGo(); problems.delete(own.id); closeWord(); }
    else if (event.key === "Tab") { event.preventDefault(); leave(); goOn(own.id, event.shiftKey ? -1 : 1); }
    else if (event.key === "ArrowUp" || event.key === "ArrowDown") {
      event.preventDefault();
      const bounds = own.range ?? range(own.key);
      let value = stepped(parsed(input.value) ?? start ?? 0, event.key === "ArrowUp" ? 1 : -1, event.shiftKey);
      if (own.whole) value = Math.round(value);
      if (bounds) value = Math.max(bounds[0], Math.min(bounds[1], value));
      input.value = raw(value);
      follow();
    }
  });
  width();
  return input;
}

/** Leaves a word and goes to the next one, which is not opened. */
function goOn(id, direction) {
  closeWord();
  const all = [...document.querySelectorAll("#sentence [data-word], #sentence a, #sentence button")].filter((one) => one.offsetParent !== null);
  const at = all.findIndex((one) => one.dataset.word === id);
  const next = all[at + direction];
  if (next) next.focus(); else document.querySelector(direction > 0 ? "#answer" : "#place-night h1")?.focus();
}

/** A number of the night as a word; `none` is shown where there is nothing. */
export function num(key, label, more = {}) {
  const own = { id: idOf(key), key, label, field: numberField, ...more };
  own.value ??= effective(key);
  own.shown = own.value === null || own.value === undefined ? own.none ?? "–" : written(own.value);
  return el("span", { class: "unit" }, word(own), own.unit ? united("", own.unit) : "");
}

/** What stands under the breath of an open number: what it can be, and what the file has. */
export function numberNote(own) {
  const bounds = own.range ?? range(own.key);
  const filed = own.key ? inFile(own.key) : null;
  const usual = own.key ? standard(own.key) : null;
  return el("p", { class: "note" }, capital(own.label), bounds ? `, ${between(bounds, own.unit)}.` : ".",
    own.help ? ` ${own.help}` : "",
    own.key && differs(own.key) && typeof filed === "number" ? [" ", button(`in the file: ${written(filed)}`, () => { set([[own.key, filed]]); problems.delete(own.id); closeWord(); }, { class: "link" })] : "",
    typeof usual === "number" && read(own.key) !== null && !own.required ? [" ", button(`usual: ${written(usual)}`, () => { set([[own.key, null]]); problems.delete(own.id); closeWord(); }, { class: "link" })] : "");
}

/** One of a list: rows of words, the current one marked. */
export function list(own, options, current, choose) {
  const rows = options.map(([value, words, quiet]) => {
    const is = value === current;
    return el("li", { role: "option", "aria-selected": String(is), tabindex: is ? 0 : -1, "data-value": value === null ? "" : value },
      el("span", { class: "mark", "aria-hidden": "true" }, is ? "◇" : ""), el("span", {}, words), quiet ? el("span", { class: "quiet" }, quiet) : null);
  });
  if (!rows.some((row) => row.tabIndex === 0) && rows[0]) rows[0].tabIndex = 0;
  const pick = (row) => { const at = rows.indexOf(row); if (at >= 0) choose(options[at][0]); };
  return el("ul", {
    role: "listbox", class: "list", "aria-label": own.label,
    onclick: (event) => pick(event.target.closest("li")),
    onkeydown: (event) => {
      const at = rows.indexOf(document.activeElement);
      const to = { ArrowDown: at + 1, ArrowUp: at - 1, Home: 0, End: rows.length - 1 }[event.key];
      if (to !== undefined) { event.preventDefault(); rows[Math.max(0, Math.min(rows.length - 1, to))].focus(); }
      else if (event.key === "Enter" || event.key === " ") { event.preventDefault(); pick(rows[at]); }
      else if (event.key.length === 1) {
        const found = rows.find((row, i) => i > at && row.textContent.toLowerCase().includes(event.key.toLowerCase()));
        found?.focus();
      }
    },
  }, ...rows);
}

/** A number in a drawer: it is written as soon as it can stand. */
export function drawerNumber(own) {
  const start = own.value ?? null;
  const input = el("input", { type: "text", inputmode: "decimal", class: "word field inner", "data-field": own.id, "aria-label": own.label, autocomplete: "off", spellcheck: "false", value: start === null ? "" : raw(start), placeholder: own.none ?? "–" });
  const note = el("span", { class: "why", role: "alert" });
  const width = () => { input.style.width = `${Math.max(4, input.value.length + 1, input.placeholder.length + 1)}ch`; };
  width();
  const write = own.write ?? ((value) => type(own.key, value));
  input.addEventListener("input", () => {
    width();
    note.replaceChildren();
    const why = refusal(own, input.value);
    if (why === null && parsed(input.value) !== undefined) { hold(); write(parsed(input.value)); }
  });
  input.addEventListener("change", () => {
    const why = refusal(own, input.value);
    // The hand is on its way to the next field: it arrives there first.
    setTimeout(() => { if (why) { letGo(); note.replaceChildren(` ${why}`); } else take(); }, 0);
  });
  return el("label", {}, own.before ? `${own.before} ` : "", input, own.unit ? united("", own.unit) : "", own.after ? ` ${own.after}` : "", note);
}

/** What stands under a breath whose word cannot be. */
export function problemNote(id) {
  const { why, back, unit, mend } = problems.get(id);
  const mended = mend ?? [back === null || back === undefined ? "leave it out" : `put ${typeof back === "number" ? united(written(back), unit) : back} back`, () => {}];
  return el("div", { class: "problem", role: "alert" }, el("p", {}, why),
    el("p", {}, button(mended[0], () => { problems.delete(id); mended[1](); again("set"); document.querySelector(`[data-word="${CSS.escape(id)}"]`)?.focus(); }, { class: "act" })));
}

