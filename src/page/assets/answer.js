// The answer and what stands behind it, read from the document of `subwell plan --json` and from nothing else.

import { $, el, show, svg, table } from "./dom.js";
import { clockOf, date, fixed, hours, inHours, inWords, number, percent as percentWords, plain, rounded, seconds, written } from "./format.js";
import { filterName, swatch } from "./filters.js";
import { inWordsOfThePage } from "./labels.js";
import { diamond } from "./starts.js";

const SET_BY = {
  "wall-clock": "waits between subs against lost subs: nothing else binds",
  tracking: "the mount", "field-rotation": "the turning of the field", "star-saturation": "the brightest star to keep",
  "sky-saturation": "the sky, which would saturate", rejection: "the least number of subs or dither positions",
  storage: "the most subs or gigabytes", asked: "the length that was asked for",
};
const LIMITS = { tracking: "the mount", field_rotation: "the field turns", star_saturation: "a star burns", sky_saturation: "the sky half fills the well" };
export const SOURCES = { target: "the target itself", sky: "sky", moon: "Moon", dark: "dark current", read: "read noise", bands: "read noise that rows share", quantisation: "quantisation", pattern: "pattern", calibration: "calibration frames" };
const COLOURS = { R: "red", G: "green", B: "blue" };
/** A plan that ended so long ago is over. */
export const OVER_MS = 12 * 3_600_000;
/** A time that was another one is told for so long, or until the next change. */
const WAS_MS = 60_000;

const time = (value, path) => number(value, path, hours(value));
const plane = (one) => (one.colour ? `${COLOURS[one.colour] ?? one.colour} (${one.plane})` : one.plane);

/** The two greens of a colour camera are one, where they do not differ by more than their uncertainty. */
export function planesOf(filter) {
  const all = filter.planes.map((one, j) => ({ one, j }));
  const greens = all.filter(({ one }) => one.colour === "G");
  const alike = greens.length === 2 && Math.abs(greens[0].one.snr.value - greens[1].one.snr.value) <= Math.hypot(greens[0].one.snr.uncertainty, greens[1].one.snr.uncertainty);
  const shown = alike ? all.filter((entry) => entry !== greens[1]) : all;
  const name = ({ one }) => (shown.length === 1 ? "share" : alike || one.colour !== "G" ? COLOURS[one.colour] ?? one.plane : plane(one));
  return shown.map((entry) => ({ ...entry, name: name(entry) }));
}

const state = { last: null, was: null, timer: null, end: 0, held: false, goal: null };

/** The number that answers: hours, or the signal to noise that given hours bring. */
function large(plan) {
  if (plan.goal.kind === "hours") {
    const all = plan.filters.flatMap((filter, i) => filter.planes.map((one, j) => ({ snr: one.snr, path: `filters/${i}/planes/${j}/snr` }))).filter(({ snr }) => snr.value > 0);
    const worst = all.reduce((least, one) => (least === null || one.snr.value < least.snr.value ? one : least), null);
    return worst === null ? null : { value: worst.snr.value, path: `${worst.path}/value`, text: `SNR ${rounded(worst.snr.value, 3)}`, range: [worst.snr.value - worst.snr.uncertainty, worst.snr.value + worst.snr.uncertainty], kind: "snr" };
  }
  return { value: plan.wall_clock_s, path: "wall_clock_s", text: hours(plan.wall_clock_s), range: plan.wall_clock_range_s, kind: "hours" };
}

function niceEnd(most) {
  const size = 10 ** Math.floor(Math.log10(most));
  return [1, 1.2, 1.6, 2, 2.4, 3, 4, 5, 6, 8, 10].map((one) => one * size).find((one) => one >= most - 1e-9);
}

/** The likely range to scale, from nothing to a round end. */
function bar(now, was) {
  const unit = now.kind === "hours" ? (now.range[1] < 5400 ? 60 : 3600) : 1;
  const most = niceEnd((1.2 * Math.max(now.range[1], was?.value ?? 0, now.value)) / unit) * unit;
  state.end = state.held ? Math.max(state.end, most) : most;
  const width = 360, x = (value) => 8 + (Math.max(0, Math.min(1, value / state.end)) * (width - 16));
  const marks = [0, 0.25, 0.5, 0.75, 1].map((part) => svg("text", { x: x(part * state.end), y: 36, class: `tick ${part === 0 ? "start" : part === 1 ? "end" : "middle"}` }, `${written(Number(((part * state.end) / unit).toPrecision(3)))}${part === 1 ? (unit === 3600 ? "\u00a0h" : unit === 60 ? "\u00a0min" : "") : ""}`));
  const [low, high] = now.range;
  return svg("svg", { viewBox: `0 0 ${width} 40`, class: "range", "aria-hidden": "true" }, svg("path", { d: `M8 18H${width - 8}`, class: "rule" }), ...marks,
    svg("path", { d: `M${x(low)} 7V17M${x(high)} 7V17M${x(low)} 12H${x(high)}`, class: "likely" }),
    was ? svg("path", { d: diamond(x(was.value), 12, 5), class: "before" }) : null, svg("path", { d: diamond(x(now.value), 12, 6), class: "plan" }));
}

/** Whether a plan that ends then is long over. */
const over = (ends) => Date.now() - Date.parse(ends) > OVER_MS;

/** When it is done, if the nights are clear. */
function nights(plan) {
  const schedule = plan.schedule;
  const count = plan.nights === 1 ? [number(1, "nights", "one"), " night"] : [number(plan.nights, "nights", inWords(plan.nights)), " nights"];
  if (!schedule || schedule.nights.length === 0) return ["in ", ...count, plan.schedule ? "" : ", if they are as a usual night is"];
  const last = schedule.nights.at(-1);
  const sessions = last.sessions.at(-1);
  if (!schedule.finished) return ["not done in 60 nights: ", number(schedule.done_percent, "schedule/done_percent", percentWords(schedule.done_percent)), " of it is"];
  return ["in ", number(schedule.nights.length, "schedule/nights/length", inWords(schedule.nights.length)), schedule.nights.length === 1 ? " night" : " nights", ", done by ", el("strong", {}, `${date(sessions.ends.split("T")[0])}, ${clockOf(sessions.ends)}`), schedule.nights.length === 1 ? " if it is clear" : schedule.nights.length === 2 ? " if both are clear" : " if all are clear", over(sessions.ends_utc) ? el("span", { class: "gone" }, schedule.nights.length === 1 ? ". That evening has passed: choose one to come" : ". These evenings have passed: choose one to come") : ""];
}

function filterTable(plan) {
  const rows = plan.filters.map((filter, i) => {
    const at = `filters/${i}`;
    return el("tr", {}, el("th", { scope: "row" }, swatch(filter.name), ` ${filterName(filter.name)}`),
      el("td", {}, number(filter.subs_to_shoot, `${at}/subs_to_shoot`, fixed(filter.subs_to_shoot))), el("td", {}, number(filter.sub_s, `${at}/sub_s`, seconds(filter.sub_s))),
      el("td", {}, number(filter.dither_every_subs, `${at}/dither_every_subs`, String(filter.dither_every_subs))), el("td", {}, number(filter.wall_clock_s, `${at}/wall_clock_s`, inHours(filter.wall_clock_s))),
      plan.goal.kind === "hours" ? el("td", {}, snrOf(filter, at)) : null);
  });
  const subs = plan.filters.reduce((sum, filter) => sum + filter.subs_to_shoot, 0);
  const head = ["filter", "subs", "length", "dither every", "hours", ...(plan.goal.kind === "hours" ? ["SNR"] : [])];
  return el("table", { class: "filters" }, el("thead", {}, el("tr", {}, ...head.map((cell) => el("th", { scope: "col" }, cell)))), el("tbody", {}, ...rows),
    plan.filters.length > 1 ? el("tfoot", {}, el("tr", {}, el("th", { scope: "row" }, `all ${inWords(plan.filters.length)}`), el("td", {}, fixed(subs)), el("td", {}), el("td", {}), el("td", {}, number(plan.wall_clock_s, "wall_clock_s", inHours(plan.wall_clock_s))), plan.goal.kind === "hours" ? el("td", {}) : null)) : null);
}

function snrOf(filter, at) {
  const worst = filter.planes.reduce((least, one, j) => (one.snr.value > 0 && (least < 0 || one.snr.value < filter.planes[least].snr.value) ? j : least), -1);
  if (worst < 0) return "–";
  const { value, uncertainty } = filter.planes[worst].snr;
  return el("span", {}, number(value, `${at}/planes/${worst}/snr/value`, rounded(value, 3)), " ± ", number(uncertainty, `${at}/planes/${worst}/snr/uncertainty`, rounded(uncertainty, 2)));
}

/** The one line of a plan through one filter. */
function oneLine(plan) {
  const filter = plan.filters[0], every = filter.dither_every_subs;
  return el("p", { class: "line" }, number(filter.subs_to_shoot, "filters/0/subs_to_shoot", fixed(filter.subs_to_shoot)), filter.subs_to_shoot === 1 ? " sub of " : " subs of ", number(filter.sub_s, "filters/0/sub_s", seconds(filter.sub_s)),
    " through ", filterName(filter.name), ", a dither every ", number(every, "filters/0/dither_every_subs", every === 1 ? "" : String(every)), every === 1 ? "sub" : " subs");
}

/** Shows a plan; `typed` while a word is open, `hand` while a point of the map is held. Returns what is said aloud. */
export function answer(plan, { typed = false, hand = false } = {}) {
  const now = large(plan);
  if (now === null) return "";
  // While a word is open or a point is held, what stood there before it is what it is compared with.
  const held = typed || hand, differs = state.last !== null && state.last.kind === now.kind && state.last.text !== now.text;
  if (held && !state.held) state.end = 0;
  state.held = held;
  const was = held ? (differs ? state.last : null) : differs ? state.last : state.was?.text === now.text ? null : state.was;
  if (!held) Object.assign(state, { last: now, was });
  clearTimeout(state.timer);
  if (was && !held) state.timer = setTimeout(() => { state.was = null; document.querySelectorAll(".was").forEach((one) => one.remove()); }, WAS_MS);
  const before = was ? el("span", { class: "was" }, ` was ${was.text}`) : "";
  const [low, high] = now.range;
  const range = now.kind === "hours" ? ["likely ", time(low, "wall_clock_range_s/0"), " to ", time(high, "wall_clock_range_s/1"), "; most of that range is ", sourceWords(plan.largest_uncertainty.source)]
    : ["likely ", rounded(low, 3), " to ", rounded(high, 3), "; on the clock ", time(plan.wall_clock_s, "wall_clock_s")];
  $("said").replaceChildren(
    el("p", { class: "large" }, number(now.value, now.path, now.text), before),
    hand ? el("p", { class: "when quiet" }, "under your hand; nothing is taken yet") : el("p", { class: "when" }, ...nights(plan)),
    bar(now, was),
    el("p", { class: "small" }, ...range, was ? ". Dashed diamond: before the last change." : "."),
    plan.filters.length === 1 ? oneLine(plan) : "",
    plan.filters.length === 1 && plan.goal.kind !== "hours" ? "" : filterTable(plan),
    el("p", { class: "small with" }, ...(plan.gain_setting === null ? [] : ["gain ", number(plan.gain_setting, "gain_setting", written(plan.gain_setting)), ", "]), "sensor at ", number(plan.sensor_c, "sensor_c", `${fixed(plan.sensor_c)}\u00a0°C`)));
  // On a phone the numbers follow the sentence, and only the answer stays in sight.
  $("after").replaceChildren(...[...$("said").children].filter((own) => own.matches(".range, .filters, .line, .small")).map((own) => own.cloneNode(true)));
  $("answer").classList.remove("stale");
  show($("stopped"), false);
  $("short-answer").replaceChildren(el("strong", {}, now.text), before.cloneNode?.(true) ?? "");
  return `${now.text}${was ? `, was ${was.text}` : ""}`;
}
const sourceWords = (source) => ({ sky: "the sky’s", target: "the target’s", camera: "the camera’s", moon: "the Moon’s", "lost-subs": "that of lost subs" }[source] ?? `that of the ${plain(source).replaceAll("-", " ")}`);

/** No new answer: the last one stays, and goes quiet. */
export function stopped(words, word) {
  $("answer").classList.add("stale");
  show($("stopped"), true);
  $("stopped").replaceChildren(word ? el("a", { href: `#/night/${encodeURIComponent(word)}`, "data-to": word }, words) : words);
}
export const shortest = (plan) => { const now = large(plan); const last = plan.schedule?.nights.at(-1); return now === null ? "" : last && plan.schedule.finished ? `${now.text}, done by ${date(last.sessions.at(-1).ends.split("T")[0])}` : now.text; };
export const forget = () => Object.assign(state, { last: null, was: null, held: false, end: 0 });

function share(percent, path) {
  const strip = el("span", { class: "strip", "aria-hidden": "true" });
  strip.style.width = `${Math.max(0, Math.min(100, percent))}%`;
  return el("span", { class: "share" }, el("span", { class: "track" }, strip), number(percent, path, percentWords(percent)));
}

/** Where the noise comes from, in columns of planes; what the planes share is said once. */
export function budget(plan, hand = null) {
  const tables = plan.filters.map((filter, i) => {
    const planes = planesOf(filter);
    const shown = Object.entries(SOURCES).filter(([source]) => source !== "bands" || filter.planes.some((one) => one.noise_share_percent.bands > 0));
    const own = hand?.filters[i] ? planesOf(hand.filters[i]) : null;
    const rows = shown.map(([source, words]) => [words,
      ...(own ? [percentWords(own[0].one.noise_share_percent[source])] : []),
      ...planes.map(({ one, j }) => { const path = `filters/${i}/planes/${j}/noise_share_percent/${source}`; return planes.length > 1 || own ? number(one.noise_share_percent[source], path, percentWords(one.noise_share_percent[source])) : share(one.noise_share_percent[source], path); })]);
    const head = ["noise from", ...(own ? ["here"] : []), ...planes.map(({ name }) => (own ? (planes.length > 1 ? `best, ${name}` : "best") : planes.length > 1 ? name : "share of the variance"))];
    return table(head, rows, plan.filters.length > 1 ? filterName(filter.name) : null, { class: "noise" });
  });
  $("shares").replaceChildren(...tables);
}

function entry(list, name, ...value) {
  list.append(el("div", {}, el("dt", {}, name), el("dd", {}, ...value)));
}

export function reasons(plan) {
  const lists = plan.filters.flatMap((filter, i) => {
    const at = `filters/${i}`;
    const list = el("dl", {});
    const length = (value, path) => number(value, path, seconds(value));
    const [from, to] = filter.sub_range_s;
    entry(list, "sub length", "lengths from ", length(from, `${at}/sub_range_s/0`), " to ", length(to, `${at}/sub_range_s/1`), " cost at most ", number(filter.sub_range_within_percent, `${at}/sub_range_within_percent`, percentWords(filter.sub_range_within_percent)), " more than the best, which is ", length(filter.sub_optimum_s, `${at}/sub_optimum_s`));
    entry(list, "set by", SET_BY[filter.set_by] ?? plain(filter.set_by));
    const limits = Object.entries(LIMITS).filter(([key]) => filter.limits_s[key] !== null);
    if (limits.length > 0) entry(list, "limits", ...limits.flatMap(([key, words], n) => [`${n > 0 ? "; " : ""}${words}: `, length(filter.limits_s[key], `${at}/limits_s/${key}`)]));
    entry(list, "limited by the sky", "from ", length(filter.sky_limited_s, `${at}/sky_limited_s`), " on: read noise adds ", number(filter.sky_limited_excess_percent, `${at}/sky_limited_excess_percent`, percentWords(filter.sky_limited_excess_percent)), " there");
    const [least, most] = filter.subs_kept_range;
    entry(list, "in the stack", number(filter.subs_kept, `${at}/subs_kept`, fixed(filter.subs_kept)), " (likely ", number(least, `${at}/subs_kept_range/0`, fixed(least)), " to ", number(most, `${at}/subs_kept_range/1`, fixed(most)), "), ", time(filter.integration_s, `${at}/integration_s`), " of open shutter, ", number(filter.gigabytes, `${at}/gigabytes`, `${rounded(filter.gigabytes, 2)}\u00a0GB`));
    entry(list, "dithers", number(filter.dithers, `${at}/dithers`, fixed(filter.dithers)), " in a square of ", number(filter.dither_px, `${at}/dither_px`, String(filter.dither_px)), "\u00a0px, ", number(filter.positions_per_night, `${at}/positions_per_night`, String(filter.positions_per_night)), " positions in a usual night");
    const planes = planesOf(filter);
    const rate = (j, name) => { const value = filter.planes[j].rates_e_per_s[name]; return number(value, `${at}/planes/${j}/rates_e_per_s/${name}`, rounded(value, 3)); };
    const rows = [
      ["signal to noise", ...planes.map(({ one, j }) => (one.snr.value === 0 ? "sees nothing of the target" : el("span", {}, number(one.snr.value, `${at}/planes/${j}/snr/value`, rounded(one.snr.value, 3)), " ± ", number(one.snr.uncertainty, `${at}/planes/${j}/snr/uncertainty`, rounded(one.snr.uncertainty, 2)))))],
      ...["target", "sky", "moon", "dark"].map((name) => [`${{ target: "target", sky: "sky", moon: "Moon", dark: "dark current" }[name]}, e⁻/s`, ...planes.map(({ j }) => rate(j, name))]),
      ["sky in a sub, DN", ...planes.map(({ one, j }) => number(one.sky_level_dn, `${at}/planes/${j}/sky_level_dn`, fixed(one.sky_level_dn)))],
      ["sky of the full well", ...planes.map(({ one, j }) => number(one.sky_share_of_full_well_percent, `${at}/planes/${j}/sky_share_of_full_well_percent`, percentWords(one.sky_share_of_full_well_percent)))],
      ["faintest, mag/arcsec²", ...planes.map(({ one, j }) => (one.faintest_mag_per_arcsec2 === null ? "–" : number(one.faintest_mag_per_arcsec2, `${at}/planes/${j}/faintest_mag_per_arcsec2`, one.faintest_mag_per_arcsec2.toFixed(1))))],
    ];
    const numbers = table([planes.length > 1 ? "in the plane" : "in a pixel", ...planes.map(({ name }) => (planes.length > 1 ? name : ""))].map((cell) => cell || "value"), rows, null, { class: "noise" });
    return [plan.filters.length > 1 ? el("h3", {}, filterName(filter.name)) : "", list, numbers];
  });
  const all = el("dl", {});
  entry(all, "calibration frames", number(plan.darks, "darks", String(plan.darks)), " darks at the subs’ length, ", number(plan.flats, "flats", String(plan.flats)), " flats, ", number(plan.biases, "biases", String(plan.biases)), " biases");
  entry(all, "least sure", `${plain(plan.largest_uncertainty.source).replaceAll("-", " ")}: `, number(plan.largest_uncertainty.share_percent, "largest_uncertainty/share_percent", percentWords(plan.largest_uncertainty.share_percent)), " of the range comes from it");
  if (plan.by_gain_setting.length > 1) entry(all, "at each gain", ...plan.by_gain_setting.flatMap((gain, i) => [`${i > 0 ? "; " : ""}gain ${gain.gain_setting ?? "unnamed"}: `, time(gain.wall_clock_s, `by_gain_setting/${i}/wall_clock_s`)]));
  if (plan.night) {
    const h = (name) => number(plan.night[name], `night/${name}`, `${plan.night[name].toFixed(1)}\u00a0h`);
    entry(all, `night of ${date(plan.night.date)}`, h("dark_hours"), " dark, ", h("moon_free_hours"), " of them without the Moon, ", h("usable_hours"), " usable; mean airmass ", number(plan.night.airmass, "night/airmass", plan.night.airmass.toFixed(2)));
  }
  $("reasons").replaceChildren(...lists, all);
}

/** Doubts in the page's words; what several planes share is said once. */
export function doubts(list, place) {
  const groups = new Map();
  for (const caveat of list) {
    const key = `${caveat.code} ${caveat.message.replace(/[\d.]+/g, "#")}`;
    groups.set(key, [...(groups.get(key) ?? []), caveat]);
  }
  place.replaceChildren(...[...groups.values()].map((all) => {
    const [caveat] = all;
    const about = all.length > 1 ? ` (in ${inWords(all.length)} ${/^r\dc\d$/.test(caveat.about ?? "") ? "planes" : "places"})` : caveat.about && !caveat.about.includes(".") && !caveat.message.includes(caveat.about) ? ` (${inWordsOfThePage(caveat.about)})` : "";
    return el("li", {}, inWordsOfThePage(caveat.message), about, caveat.hint ? el("span", { class: "hint" }, `What helps: ${inWordsOfThePage(caveat.hint)}`) : null);
  }));
}
