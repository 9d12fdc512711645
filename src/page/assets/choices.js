// What else could be done, by the hours that it gives back in a year; the scale is all the hours of the year.

import { $, button, el, svg } from "./dom.js";
import { capital, fixed, hours, number, plain, rounded, united, written } from "./format.js";
import { draft, night, read, set } from "./night.js";
import { diamond } from "./starts.js";
import { inWordsOfThePage, labelOf } from "./labels.js";
import { START, go } from "./route.js";
import { reportButton, stem } from "./report.js";
import { alone, ask } from "./server.js";
import { announce } from "./reading.js";
import { questions } from "./weighing.js";

/** What saves less than this share of the year helps nothing here. */
const NOTHING = 0.01;
const WIDTH = 320;

const state = { key: null, document: null, asking: null };

export function start() { $("place-choices").replaceChildren(el("h1", { tabindex: -1 }, "Choices")); }

/** Hours of the list: two digits that count. */
const two = (value) => rounded(value, 2);
const first = (text) => capital(inWordsOfThePage(text));
/** Hours with the digits that their range allows. */
function digitsOf({ hours_saved_interval_95: [low, high] }) {
  const wide = Math.abs(high - low);
  return (value) => fixed(value, wide < 0.15 ? 2 : wide < 5 ? 1 : 0);
}

export async function show() {
  const place = $("place-choices");
  if (!night.path) { place.replaceChildren(el("h1", { tabindex: -1 }, "No night yet"), el("p", {}, "Choices are weighed for a night: ", el("a", { href: `#/${START}` }, "begin one"), ".")); return; }
  const key = JSON.stringify(draft());
  if (key === state.key && state.document) { draw(); return; }
  state.asking?.abort();
  const own = new AbortController();
  state.asking = own;
  if (!state.document) place.replaceChildren(el("h1", { tabindex: -1 }, "Choices"), el("p", { role: "status" }, "Weighing each single change over a whole year…"));
  else place.querySelector("h1")?.after(el("p", { class: "quiet", role: "status" }, "computing"));
  try {
    const document = await ask("POST", "/api/choices", draft(), own.signal);
    Object.assign(state, { key, document });
    draw();
  } catch (error) {
    if (error.name === "AbortError") return;
    state.document = null;
    place.replaceChildren(el("h1", { tabindex: -1 }, "Nothing can be weighed yet"), el("div", { class: "problem", role: "alert" }, el("p", {}, first(inWordsOfThePage(error.message))), error.hint ? el("p", { class: "small" }, first(inWordsOfThePage(error.hint))) : null), el("p", {}, el("a", { href: "#/night" }, "back to the night")));
  }
}

const cost = (choice) => (choice.travel_h > 0 ? "road" : choice.price !== null ? "money" : /^(gain|cadence|dither|moon|another-evening|darks|frames)/.test(choice.word) || choice.price === 0 ? "nothing" : "unsaid");

function bar(choice, year) {
  const x = (value) => 8 + (Math.max(0, Math.min(year, value)) / year) * (WIDTH - 16);
  const [low, high] = choice.hours_saved_interval_95, value = choice.hours_saved_per_year, kind = cost(choice);
  const mark = kind === "road" ? svg("path", { d: `M${x(value)} 6l7 13h-14z`, class: "plan" }) : kind === "money" ? svg("circle", { cx: x(value), cy: 14, r: 6, class: "dot" }) : svg("path", { d: diamond(x(value), 14, 7), class: "plan" });
  return svg("svg", { viewBox: `0 0 ${WIDTH} 28`, class: "bar", "aria-hidden": "true", preserveAspectRatio: "none" }, ...[0, 0.25, 0.5, 0.75, 1].map((part) => svg("path", { d: `M${x(part * year)} 0V28`, class: "rule" })),
    value > 0 ? svg("path", { d: `M${x(0)} 14H${x(value)}`, class: "saved" }) : null, svg("path", { d: `M${x(low)} 9V19M${x(high)} 9V19M${x(low)} 14H${x(high)}`, class: "likely" }), mark);
}

/** The keys that a change sets, as words of the page. */
function changesOf(choice) {
  const words = [];
  const walk = (value, way) => {
    if (value !== null && typeof value === "object" && !Array.isArray(value) && way.join(".") !== "site.sky") { for (const [name, own] of Object.entries(value)) walk(own, [...way, name]); return; }
    const was = read(way);
    const said = (own) => (own === null || own === undefined ? "nothing" : typeof own === "number" ? written(own) : plain(typeof own === "string" ? own : JSON.stringify(own)).replace(/["{}[\]]/g, "").replaceAll("_", " ").slice(0, 60));
    words.push(`${labelOf(way)}: ${said(was)} → ${said(value)}`);
  };
  walk(choice.set ?? {}, []);
  return words;
}

function leaves(value, way = []) {
  if (value !== null && typeof value === "object" && !Array.isArray(value) && way.join(".") !== "site.sky") return Object.entries(value).flatMap(([name, own]) => leaves(own, [...way, name]));
  return [[way, value]];
}

/** Opens the night with the change as a draft. */
function tryIt(choice) {
  set(leaves(choice.set));
  announce(`${choice.name}: tried as a draft`);
  go("night");
}

/** Whether two changes are about alike: each lies in the range of the other. */
function alike(one, other) {
  const within = ({ hours_saved_per_year: value }, { hours_saved_interval_95: [low, high] }) => low <= value && value <= high;
  return within(one, other) && within(other, one);
}

function row(choice, i, year, before) {
  const at = `choices/${i}`, own = (value, path, text) => number(value, `${at}/${path}`, text, "choices");
  const [low, high] = choice.hours_saved_interval_95;
  const digits = digitsOf(choice);
  const can = Object.keys(choice.set ?? {}).length > 0;
  const details = changesOf(choice);
  return el("tr", {}, el("th", { scope: "row" }, el("strong", {}, first(choice.name)), before && alike(before, choice) ? el("p", { class: "quiet small alike" }, "about alike: its hours and those of the change above are not told apart") : null,
    el("details", {}, el("summary", {}, "why, and what it changes"),
      el("p", { class: "small" }, "This picture’s hours as things are are ", own(choice.hours_ratio.value, "hours_ratio/value", fixed(choice.hours_ratio.value, 2)), " ± ", own(choice.hours_ratio.uncertainty, "hours_ratio/uncertainty", fixed(choice.hours_ratio.uncertainty, 2)), " times those with it; this picture takes ", own(choice.wall_clock_s, "wall_clock_s", hours(choice.wall_clock_s)), " then."),
      details.length > 0 ? el("p", { class: "small" }, `${details.join("; ")}.`) : null, choice.caution ? el("p", { class: "note" }, plain(choice.caution)) : null)),
  el("td", { class: "bar-cell" }, bar(choice, year)),
  el("td", { class: "figure", "data-head": "hours" }, el("strong", {}, own(choice.hours_saved_per_year, "hours_saved_per_year", united(digits(choice.hours_saved_per_year), "h")))),
  el("td", { class: "figure", "data-head": "95 of 100" }, el("span", {}, own(low, "hours_saved_interval_95/0", digits(low)), "–", own(high, "hours_saved_interval_95/1", digits(high)))),
  el("td", { class: "figure", "data-head": "costs" }, choice.travel_h > 0 ? united(two(choice.travel_h), "h of road a night") : choice.price === null ? "–" : choice.price === 0 ? "nothing" : own(choice.price, "price", written(choice.price))),
  el("td", { class: "figure", "data-head": "h per 100" }, choice.hours_saved_per_price === null ? "–" : two(100 * choice.hours_saved_per_price)),
  el("td", { class: "figure" }, can ? button("try it", () => tryIt(choice), { class: "act" }) : ""));
}

function finding(document, helps) {
  const year = written(document.imaging_hours_per_year);
  if (document.wall_clock_s === null) return "This picture is out of reach as things are";
  if (helps.length === 0) return `Nothing that could be changed helps much in your ${year} hours a year`;
  const [best] = helps;
  return `${first(best.choice.name)} gives back ${two(best.choice.hours_saved_per_year)} of your ${year} hours a year`;
}

function draw() {
  const document = state.document, year = document.imaging_hours_per_year;
  const all = document.choices.map((choice, i) => ({ choice, i }));
  const helps = all.filter(({ choice }) => choice.hours_saved_per_year >= NOTHING * year);
  const rest = all.filter(({ choice }) => choice.hours_saved_per_year < NOTHING * year);
  $("state-choices").replaceChildren(helps.length > 0 ? `${first((helps[0].choice.name))}: ${two(helps[0].choice.hours_saved_per_year)} of ${united(written(year), "h")}` : "nothing helps much");
  const scale = el("div", { class: "scale", "aria-hidden": "true" }, ...[0, 0.25, 0.5, 0.75, 1].map((part) => el("span", {}, part === 1 ? united(written(year), "h") : written(Number((part * year).toPrecision(3))))));
  $("place-choices").replaceChildren(el("h1", { tabindex: -1 }, finding(document, helps)),
    el("p", { class: "quiet" }, "One change at a time, the same pictures, in the moonless nights of a year. The scale is the whole year, so that a little looks little."),
    document.out_of_reach ? el("p", {}, inWordsOfThePage(document.out_of_reach)) : "",
    (document.within_reach ?? []).length > 0 ? el("ul", {}, ...document.within_reach.map((one) => el("li", {}, `${first(one.name)}: ${hours(one.wall_clock_s)}`, Object.keys(one.set ?? {}).length > 0 ? [" ", button("try it", () => tryIt(one), { class: "act" })] : null))) : "",
    helps.length > 0 ? el("table", { class: "cards choices" }, el("thead", {}, el("tr", {}, el("th", { scope: "col" }, "change"), el("th", { scope: "col" }, "hours given back", scale), ...["hours", "95 of 100", "costs", "h per 100"].map((head) => el("th", { scope: "col", class: "figure" }, head)), el("td", {}))),
      el("tbody", {}, ...helps.map(({ choice, i }, k) => row(choice, i, year, helps[k - 1]?.choice)))) : "",
    helps.length > 0 ? el("p", { class: "quiet small" }, "◇ no price is written for it, or it costs nothing   ● costs money   △ costs road   line: 95 of 100 cases") : "",
    ...(rest.length > 0 ? [el("h2", {}, "Helps nothing here, or costs hours"), el("table", { class: "cards" }, el("tbody", {}, ...rest.map(({ choice, i }) => el("tr", {}, el("th", { scope: "row" }, first(choice.name)),
      el("td", {}, number(choice.hours_saved_per_year, `choices/${i}/hours_saved_per_year`, united(digitsOf(choice)(choice.hours_saved_per_year), "h"), "choices"), ` of ${written(year)}, ${digitsOf(choice)(choice.hours_saved_interval_95[0])} to ${digitsOf(choice)(choice.hours_saved_interval_95[1])}`)))))] : []),
    el("section", {}, el("h2", {}, "A cooler, and another night"), ...questions()),
    ...(document.not_weighed.length > 0 ? [el("h2", {}, "Could not be weighed"), el("dl", {}, ...document.not_weighed.map((one) => el("div", {}, el("dt", {}, first(one.name)), el("dd", {}, inWordsOfThePage(one.why)))))] : []),
    ...(document.caveats.length > 0 ? [el("h2", {}, "Doubts"), el("ul", {}, ...document.caveats.map((caveat) => el("li", {}, inWordsOfThePage(caveat.message))))] : []),
    alone ? "" : el("p", { class: "acts" }, ...reportButton("choices", () => `${stem()}-choices`)));
}
