// When to begin: the plan from each of 28 evenings, with the Moon's face below each.

import { $, button, el, show, svg, table, twin } from "./dom.js";
import { counted, date as dateWords, hours, number, percent, plain, wholePercent } from "./format.js";
import { draft, set } from "./night.js";
import { moonFace } from "./moon.js";
import { ask } from "./server.js";
import { announce } from "./reading.js";

const LEFT = 46, RIGHT = 14, TOP = 16, BELOW = 66;

const state = { key: null, starts: null, moons: [], at: 0, plan: null, coming: null };
const keyNow = () => JSON.stringify(draft());

/** The starts of the night as it is written, asked once for each night; nothing without a date. */
export async function startsFor(signal) {
  const key = keyNow();
  if (state.key === key) return state.starts;
  const { starts } = await ask("POST", "/api/starts", draft(), signal);
  Object.assign(state, { key, starts });
  return starts;
}

/** The starts that are known already. */
export const startsKnown = () => state.starts;

export function clear() { show($("starts"), false); }

/** Draws them under the night; `plan` is the plan that is shown. Where that took long, four weeks of it wait to be asked for. */
export async function starts(plan, signal, slow) {
  const schedule = plan.schedule;
  if (!schedule || plan.goal.kind === "hours") { clear(); return; }
  state.plan = plan;
  show($("starts"), true);
  heading(plan);
  if (state.key === keyNow() || !slow) { await filled(signal); return; }
  state.starts = null;
  for (const part of ["starts-reading", "starts-picture"]) show($(part), false);
  show(twinTable.box, false);
  const ask = button("work out these four weeks", async () => { ask.replaceWith("working out the four weeks…"); try { await filled(signal); } catch (error) { if (error.name !== "AbortError") $("starts-act").replaceChildren(plain(error.message)); } }, { class: "act" });
  $("starts-act").prepend(ask, " ");
}

/** A range of hours in words. */
const between = ([low, high]) => (hours(low) === hours(high) ? hours(low) : `${hours(low)} to ${hours(high)}`);

function heading(plan) {
  const schedule = plan.schedule, wait = schedule.wait_until;
  $("starts-h").replaceChildren(wait ? ["Waiting until ", dateWords(wait.date), " saves "].join("") : "Tonight is as good as any evening of these four weeks", ...(wait ? [number(schedule.wait_saves_percent, "schedule/wait_saves_percent", percent(schedule.wait_saves_percent)), " of the time"] : []));
  $("starts-act").replaceChildren(...(wait && wait.done_on ? [
    button(`start ${dateWords(wait.date)}`, () => begin(wait.date), { class: "act" }), " ",
    number(wait.wall_clock_s, "schedule/wait_until/wall_clock_s", hours(wait.wall_clock_s)), " in ", number(wait.nights, "schedule/wait_until/nights", counted(wait.nights, "night")), ", done on ", dateWords(wait.done_on), "."] : []));
}

async function filled(signal) {
  const found = await startsFor(signal);
  if (!found || signal.aborted) { if (!found) clear(); return; }
  const { moons } = await ask("POST", "/api/moons", { night: draft(), from: found[0].date }, signal);
  if (signal.aborted) return;
  Object.assign(state, { moons, at: 0 });
  for (const part of ["starts-reading", "starts-picture"]) show($(part), true);
  show(twinTable.box, true);
  heading(state.plan);
  draw();
  twinTable.fill();
}

function begin(date) { set([[["goal", "date"], date]]); announce(`begins on ${dateWords(date)}`); }

function reading() {
  const start = state.starts[state.at];
  const moon = state.moons.find(({ date }) => date === start.date);
  const parts = [el("strong", {}, dateWords(start.date)),
    start.wall_clock_s === null ? " not finished within 60 nights" : el("span", {}, el("strong", {}, hours(start.wall_clock_s)), start.wall_clock_range_s ? `, likely ${between(start.wall_clock_range_s)},` : "", ` in ${counted(start.nights, "night")}`),
    start.done_on ? el("span", {}, `done on ${dateWords(start.done_on)}`) : "", moon ? el("span", {}, `Moon ${wholePercent(moon.illuminated_percent)} lit`) : ""];
  $("starts-reading").replaceChildren(...parts.flatMap((part) => [part, " "]), el("span", { class: "keys" }, "← → evenings, Enter starts there"));
  const slider = $("starts-slider");
  if (slider) { slider.setAttribute("aria-valuenow", state.at); slider.setAttribute("aria-valuetext", parts.map((part) => part.textContent ?? part).join(", ")); }
}

function draw() {
  const place = $("starts-picture"), width = Math.round(place.clientWidth);
  if (!state.starts || width < 40) return;
  const height = 190, all = state.starts;
  const values = all.map(({ wall_clock_s: s }) => s).filter((s) => s !== null);
  // The scale is that of the hours; a range that leaves it goes on beyond its edge.
  const most = Math.max(3600, ...values, ...all.map(({ wall_clock_s: s, wall_clock_range_s: range }) => (range ? Math.min(range[1], 2 * s) : 0))) * 1.1;
  const step = [900, 1800, 3600, 7200, 18_000, 36_000, 72_000, 180_000, 360_000].find((one) => most / one <= 4) ?? 720_000;
  const x = (i) => LEFT + ((i + 0.5) / all.length) * (width - LEFT - RIGHT);
  const y = (s) => height - BELOW - (s / most) * (height - BELOW - TOP);
  const wait = state.plan.schedule.wait_until;
  const marks = svg("g", { "aria-hidden": "true" });
  for (let s = 0; s <= most; s += step) marks.append(svg("path", { d: `M${LEFT} ${y(s)}H${width - RIGHT}`, class: "rule" }), svg("text", { x: LEFT - 8, y: y(s) + 4, class: "tick end" }, hours(s === 0 ? 0 : s).replace(/^0\s?s$/, "0")));
  if (all[0].wall_clock_s !== null) marks.append(svg("path", { d: `M${LEFT} ${y(all[0].wall_clock_s)}H${width - RIGHT}`, class: "level" }));
  const each = Math.max(1, Math.ceil(46 / ((width - LEFT - RIGHT) / all.length)));
  all.forEach((start, i) => {
    if (start.wall_clock_range_s) {
      const [low, high] = start.wall_clock_range_s, top = Math.max(TOP, y(high)), end = high > most ? "" : `M${x(i) - 3} ${top}h6`;
      marks.append(svg("path", { d: `M${x(i)} ${y(low)}V${top}M${x(i) - 3} ${y(low)}h6${end}`, class: "likely" }));
    }
    if (start.wall_clock_s !== null) marks.append(wait && start.date === wait.date ? svg("path", { d: diamond(x(i), y(start.wall_clock_s), 6), class: "plan" }) : i === 0 ? svg("circle", { cx: x(i), cy: y(start.wall_clock_s), r: 5, class: "ring" }) : svg("circle", { cx: x(i), cy: y(start.wall_clock_s), r: 3.5, class: "dot" }));
    const moon = state.moons.find(({ date }) => date === start.date);
    if (moon && (width > 560 || i % 2 === 0)) marks.append(moonFace(x(i), height - BELOW + 18, 6, moon.illuminated_percent, moon.waxing));
    if (i % each === 0) marks.append(svg("text", { x: x(i), y: height - BELOW + 42, class: "tick middle" }, start.date.slice(8) === "01" || i === 0 ? dateWords(start.date, { weekday: false, year: "never" }) : String(Number(start.date.slice(8)))));
  });
  marks.append(svg("path", { d: `M${LEFT} ${height - BELOW}H${width - RIGHT}`, class: "axis" }), svg("text", { x: width - RIGHT, y: height - 6, class: "name end" }, "begin on; the Moon’s face below"));
  const cursor = svg("path", { class: "cursor" });
  const slider = svg("g", { id: "starts-slider", role: "slider", tabindex: 0, class: "reader", "aria-label": "hours by the evening on which you begin", "aria-valuemin": 0, "aria-valuemax": all.length - 1 }, svg("rect", { x: LEFT, y: 0, width: Math.max(1, width - LEFT - RIGHT), height: height - 28, class: "reach" }), cursor);
  const picture = svg("svg", { viewBox: `0 0 ${width} ${height}`, width, height, class: "picture", role: "group", "aria-labelledby": "starts-h" }, marks, slider);
  const go = (i) => { state.at = Math.max(0, Math.min(all.length - 1, i)); cursor.setAttribute("d", `M${x(state.at)} ${TOP}V${height - BELOW}`); reading(); };
  slider.addEventListener("pointermove", (event) => { const frame = picture.getBoundingClientRect(); go(Math.floor(((event.clientX - frame.left - LEFT) / (width - LEFT - RIGHT)) * all.length)); });
  slider.addEventListener("keydown", (event) => {
    const to = { ArrowLeft: state.at - 1, ArrowRight: state.at + 1, Home: 0, End: all.length - 1 }[event.key];
    if (to !== undefined) go(to); else if (event.key === "Enter") begin(all[state.at].date); else return;
    event.preventDefault();
  });
  const had = document.activeElement?.id === "starts-slider";
  place.replaceChildren(picture);
  if (had) slider.focus({ preventScroll: true });
  go(state.at);
}

export const diamond = (x, y, r) => `M${x} ${y - r}l${r} ${r}l${-r} ${r}l${-r} ${-r}z`;

const twinTable = twin("starts", () => table(["begin on", "hours", "likely", "nights", "done on"], (state.starts ?? []).map((start) => [dateWords(start.date), start.wall_clock_s === null ? "–" : hours(start.wall_clock_s), start.wall_clock_range_s ? between(start.wall_clock_range_s) : "–", String(start.nights), start.done_on ? dateWords(start.done_on) : "–"]), "the plan begun on each evening"));

export function start() {
  $("starts-twin").replaceWith(twinTable.box);
  let width = 0;
  new ResizeObserver(() => { const now = $("starts-picture").clientWidth; if (now !== width) { width = now; draw(); } }).observe($("starts-picture"));
}
