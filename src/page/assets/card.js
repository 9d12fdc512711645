// The card: what to do now, by the device's clock. It is read at the telescope, in the dark, with cold hands.

import { OVER_MS } from "./answer.js";
import { $, el, show } from "./dom.js";
import { capital, clockOf, counted, date, fixed, hourOf, hours, number, plain, seconds, united, written } from "./format.js";
import { filterLetter, filterName } from "./filters.js";
import { effective, night, read } from "./night.js";
import { inWordsOfThePage } from "./labels.js";
import * as picture from "./picture.js";
import { here } from "./route.js";

const LOOK_AGAIN_MS = 10_000;

/** Nothing yet, nothing that can be planned, or a plan. */
let plan, drawn = null, why = "";

const utc = (stamp) => Date.parse(stamp);
/** All blocks of the plan, in the order of their time. */
const blocks = () => (plan.schedule?.nights ?? []).flatMap((evening, i) => evening.sessions.map((session, j) => ({ ...session, i, j, evening, from: utc(session.starts_utc), to: utc(session.ends_utc) })));

/** What is the matter at a moment: the block that runs, the next one, or that all is done, or long over. */
export function moment(list, now) {
  const running = list.find(({ from, to }) => from <= now && now < to);
  if (running) return { state: "running", block: running };
  const next = list.find(({ from }) => now < from);
  if (!next) return { state: now - list.at(-1).to > OVER_MS ? "over" : "done", block: list.at(-1) };
  const begun = list.some(({ i, to }) => i === next.i && to <= now);
  if (begun || now >= utc(next.evening.starts_utc)) return { state: "soon", block: next };
  const before = list.filter(({ to }) => to <= now).at(-1);
  // After the last block of an evening it is still night: done until the next one.
  return before && now - before.to < 6 * 3_600_000 ? { state: "pause", block: next } : { state: "day", block: next };
}

const length = ({ i, j, sub_s: s }) => number(s, `schedule/nights/${i}/sessions/${j}/sub_s`, seconds(s));
const cadence = ({ i, j, dither_every_subs: n }) => (n === 1 ? "dither after each" : el("span", {}, "dither every ", number(n, `schedule/nights/${i}/sessions/${j}/dither_every_subs`, fixed(n))));
const subs = ({ i, j, subs: n }) => number(n, `schedule/nights/${i}/sessions/${j}/subs`, counted(n, "sub"));

function setting() {
  const parts = [];
  if (plan.gain_setting !== null) parts.push(el("span", {}, "gain ", number(plan.gain_setting, "gain_setting", written(plan.gain_setting))));
  parts.push(el("span", {}, "sensor at ", number(plan.sensor_c, "sensor_c", united(written(Number(plan.sensor_c.toFixed(1))), "°C"))));
  return parts.flatMap((part, i) => (i === 0 ? [part] : [", ", part]));
}

/** How many subs of a running block are in by now, if none was lost. */
export const byNow = (block, now) => Math.min(block.subs, Math.floor((block.subs * (now - block.from)) / (block.to - block.from)));

function heading({ state, block }, now) {
  const name = capital(filterName(block.filter));
  if (state === "running") return [`${name} now`, [length(block), ", ", cadence(block)], [subs(block), ` until ${clockOf(block.ends)}; by now ${byNow(block, now)}, if none was lost`]];
  if (state === "done") return ["Done, if none was lost", [clockOf(block.ends)], ["that is when the last block ended"]];
  if (state === "over") return ["This plan is over", [date(block.evening.date)], ["was its last evening: ", el("a", { href: "#/night" }, "give it one to come")]];
  const begins = `${name}, begins ${clockOf(block.starts)}`;
  if (state === "soon") return [begins, [length(block), ", ", cadence(block)], [subs(block), ` until ${clockOf(block.ends)}`]];
  if (state === "pause") return [`Done until ${date(block.starts)}, ${clockOf(block.starts)}`, [filterLetter(block.filter), " ", length(block), ", ", cadence(block)], [subs(block)]];
  return [`${date(block.evening.date)}, from ${clockOf(block.starts)}`, [filterLetter(block.filter), " ", length(block), ", ", cadence(block)], [subs(block), ` until ${clockOf(block.ends)}`]];
}

/** What the times rest on: a clock that this device may not have, and evenings that may not have been clear. */
function terms(block, now) {
  // On that evening: a clock may have been put forward or back by then.
  const own = -new Date(block.from).getTimezoneOffset() / 60, theirs = effective(["site", "utc_offset_h"]) ?? plan.night?.utc_offset_h ?? 0;
  const zone = (hours) => `UTC${hours < 0 ? "−" : "+"}${written(Math.abs(hours))}`;
  return [
    Math.abs(own - theirs) > 0.01 ? el("p", { class: "problem" }, `Times are by the night's clock, ${zone(theirs)}; this device is at ${zone(own)}. Begin ${fixed(Math.abs(own - theirs), Number.isInteger(own - theirs) ? 0 : 1)} h ${own > theirs ? "later" : "earlier"} by its clock.`) : null,
    block.i > 0 && block.from > now - OVER_MS && utc(plan.schedule.nights[0].starts_utc) < now ? el("p", { class: "quiet small" }, "As planned if the evenings before were clear; otherwise write what is there under “hours that are there”, or begin the plan tonight.") : null,
  ].filter((one) => one !== null);
}

function dated(list, now) {
  const at = moment(list, now), { block } = at;
  const [head, large, line] = heading(at, now);
  const own = list.filter(({ i }) => i === block.i);
  const rows = own.map((one) => el("li", { class: one === block && at.state === "running" ? "own" : null }, el("span", { class: "clock" }, `${clockOf(one.starts)}–${clockOf(one.ends)}`), " ", el("strong", {}, filterName(one.filter)), " ", el("span", { class: "unit" }, number(one.subs, `schedule/nights/${one.i}/sessions/${one.j}/subs`, fixed(one.subs)), " × ", length(one)), ", ", cadence(one)));
  const begins = hourOf(block.starts, block.evening.date);
  picture.evening(block.i, at.state === "running" ? begins + (now - block.from) / 3_600_000 : begins);
  return {
    said: [el("h1", { tabindex: -1 }, head), el("p", { class: "card-large" }, ...large), el("p", {}, ...line), el("p", {}, ...setting())],
    blocks: [...terms(block, now), el("h2", {}, `${date(block.evening.date)}: ${counted(own.length, "block")}`), el("ol", { class: "blocks" }, ...rows)],
  };
}

function undated() {
  const first = plan.filters[0];
  const rows = plan.filters.map((one, i) => el("li", {}, el("strong", {}, filterName(one.name)), " ", number(one.subs_to_shoot, `filters/${i}/subs_to_shoot`, fixed(one.subs_to_shoot)), " × ", number(one.sub_s, `filters/${i}/sub_s`, seconds(one.sub_s)), ", dither every ", number(one.dither_every_subs, `filters/${i}/dither_every_subs`, fixed(one.dither_every_subs)), ", ", number(one.wall_clock_s, `filters/${i}/wall_clock_s`, hours(one.wall_clock_s))));
  return {
    said: [el("h1", { tabindex: -1 }, capital(filterName(first.name))), el("p", { class: "card-large" }, number(first.sub_s, "filters/0/sub_s", seconds(first.sub_s)), ", dither every ", number(first.dither_every_subs, "filters/0/dither_every_subs", fixed(first.dither_every_subs))), el("p", {}, ...setting())],
    blocks: [el("ol", { class: "blocks" }, ...rows), el("p", { class: "quiet" }, "This night has no date, so the card has no times: ", el("a", { href: "#/night" }, "give it an evening"), ".")],
  };
}

/** The picture of a plan that is no more is no picture. */
const pictured = (visible) => show($("card-picture"), visible);

/** Draws what is the matter now; what did not change stays as it is. */
function draw(now = Date.now()) {
  if (here().place !== "card") return;
  if (!plan) {
    const refused = plan === null, words = !night.path ? "No night was taken along" : refused ? "The night cannot be planned as it is written" : "Working out the plan";
    pictured(false);
    $("card-blocks").replaceChildren();
    $("card-said").replaceChildren(el("h1", { tabindex: -1 }, words), refused ? el("p", {}, inWordsOfThePage(why), " ", el("a", { href: "#/night" }, "look at its words")) : "");
    return;
  }
  pictured(true);
  const list = blocks(), key = list.length > 0 ? JSON.stringify([moment(list, now), byNow(moment(list, now).block, now)]) : "undated";
  if (drawn?.plan === plan && drawn.key === key) return;
  drawn = { plan, key };
  const { said, blocks: below } = list.length > 0 ? dated(list, now) : undated();
  $("card-said").replaceChildren(...said);
  $("card-blocks").replaceChildren(...below);
}

/** Is told each plan; nothing and the reason where there is none. */
export function told(document, reason = "") {
  plan = document;
  why = reason;
  drawn = null;
  const name = read(["target", "name"]);
  $("state-card").replaceChildren(name ? plain(name) : "");
  draw();
}

export function open() {
  $("card-picture").append($("picture"));
  drawn = null;
  draw();
}
/** The picture goes back to the night. */
export function leave() { picture.free(); $("starts").before($("picture")); }

export function start() { setInterval(draw, LOOK_AGAIN_MS); }
