// Two questions below the list: what cooling gives back month by month, and this night against another of the folder.

import { button, el, table } from "./dom.js";
import { capital, fixed, hours, number, plain, rounded, united, wholePercent, written } from "./format.js";
import { doubts } from "./answer.js";
import { folder, refresh } from "./files.js";
import { inWordsOfThePage } from "./labels.js";
import { draft, night } from "./night.js";
import { reportButton, stem } from "./report.js";
import { alone, ask } from "./server.js";

const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

const state = { open: new Set(), against: null };
/** The last question of each path with its answer: what is opened anew is not asked twice. */
const last = new Map();

const problem = (error) => el("div", { class: "problem", role: "alert" }, el("p", {}, capital(inWordsOfThePage(error.message))), error.hint ? el("p", { class: "small" }, capital(inWordsOfThePage(error.hint))) : null);
const doubtful = (caveats) => { if (caveats.length === 0) return null; const list = el("ul", {}); doubts(caveats, list); return el("details", {}, el("summary", {}, "doubts"), list); };

function cooled(document) {
  const own = (value, path, text) => number(value, path, text, "cooling");
  const rows = document.months.map((month, i) => [MONTHS[month.month - 1], own(month.ambient_c, `months/${i}/ambient_c`, fixed(month.ambient_c)), own(month.uncooled_sensor_c, `months/${i}/uncooled_sensor_c`, fixed(month.uncooled_sensor_c)), own(month.cooled_sensor_c, `months/${i}/cooled_sensor_c`, fixed(month.cooled_sensor_c)),
    own(month.uncooled_dark_share_percent, `months/${i}/uncooled_dark_share_percent`, wholePercent(month.uncooled_dark_share_percent)), own(month.cooled_dark_share_percent, `months/${i}/cooled_dark_share_percent`, wholePercent(month.cooled_dark_share_percent)),
    month.time_ratio === null ? "–" : own(month.time_ratio, `months/${i}/time_ratio`, fixed(month.time_ratio, 2))]);
  const at = document.warmest_useful_set_point_c;
  return [el("p", {}, el("strong", {}, `Cooling to ${united(fixed(document.set_point_c), "°C")}: ${document.verdict}. `), "It gives back ", own(document.hours_saved_per_year, "hours_saved_per_year", united(rounded(document.hours_saved_per_year, 2), "h")), " of the ", own(document.imaging_hours_per_year, "imaging_hours_per_year", united(written(document.imaging_hours_per_year), "h")), " of a year",
    at === null ? "." : [`; colder than `, own(at, "warmest_useful_set_point_c", united(fixed(at), "°C")), " it saves hardly more."]),
  table(["", "air, °C", "sensor without, °C", "with, °C", "heat’s share of the noise", "with cooling", "hours over those with it"], rows, null, { class: "cards numbers" }), doubtful(document.caveats), alone ? null : el("p", { class: "acts" }, ...reportButton("cooling", () => `${stem()}-cooling`))];
}

function compared(document) {
  const [mine, other] = document.names.map(plain), { value, interval_95: [low, high] } = document.hours_ratio;
  const own = (number_, path, text) => number(number_, path, text, "compare");
  const sure = low > 1 || high < 1, quicker = value > 1 ? other : mine;
  return [el("p", {}, el("strong", {}, sure ? `${quicker} is quicker; changing is ${document.verdict}. ` : "Which is quicker cannot be told. "), `${mine} takes `, own(value, "hours_ratio/value", rounded(value, 2)), " times the hours of ", `${other} (`, own(low, "hours_ratio/interval_95/0", rounded(low, 2)), " to ", own(high, "hours_ratio/interval_95/1", rounded(high, 2)), " in 95 of 100 cases)."),
    table(["side", "hours", "camera", "filter", "length of a sub"], [["a", mine, document.a_wall_clock_s], ["b", other, document.b_wall_clock_s]].map(([side, name, time]) => [name, own(time, `${side}_wall_clock_s`, hours(time)), plain(document[side].camera), plain(document[side].filter), hours(document[side].sub_s)]), null, { class: "cards numbers" }),
    document.factors.length > 0 ? el("p", { class: "small" }, "Why, as a product: ", document.factors.flatMap((factor, i) => [i > 0 ? " × " : "", `${factor.name} `, own(factor.ratio, `factors/${i}/ratio`, fixed(factor.ratio, 2))]), ".") : null, doubtful(document.caveats)];
}

/** Something folded that is asked when it is opened; what is open stays so while the list is drawn anew. */
function folded(id, words, fill) {
  const place = el("div", {}), box = el("details", { id, open: state.open.has(id) }, el("summary", {}, words), place);
  box.addEventListener("toggle", () => { if (box.open) { state.open.add(id); fill(place); } else state.open.delete(id); });
  if (box.open) fill(place);
  return box;
}

async function answered(place, path, body, words) {
  const key = JSON.stringify(body);
  if (last.get(path)?.key !== key) last.set(path, { key, answer: ask("POST", path, body) });
  const own = last.get(path);
  place.replaceChildren(el("p", { role: "status" }, "computing"));
  const shown = await own.answer.then((document) => words(document).filter(Boolean), (error) => { if (last.get(path) === own) last.delete(path); return [problem(error)]; });
  // Another question may have been asked since, whose answer came sooner.
  if ((last.get(path) ?? own) === own) place.replaceChildren(...shown);
}

const cooling = (place) => answered(place, "/api/cooling", draft(), cooled);

async function compare(place) {
  await refresh().catch(() => {});
  const answer = el("div", { id: "compared", "aria-live": "polite" });
  const against = (path) => { state.against = path; for (const one of place.querySelectorAll("[data-against]")) one.setAttribute("aria-pressed", String(one.dataset.against === path));
    answered(answer, "/api/compare", { night: draft(), against: path }, compared); };
  if (!folder.nights.some((path) => path !== night.path)) { place.replaceChildren(el("p", {}, "No other night lies in this folder. Keep this one under another name, change it there, and come back.")); return; }
  place.replaceChildren(el("p", { class: "acts" }, "against ", ...folder.nights.filter((path) => path !== night.path).flatMap((path) => [button(plain(path.replace(/\.toml$/, "")), () => against(path), { class: "act", "data-against": path, "aria-pressed": String(state.against === path) }), " "])), answer);
  if (folder.nights.includes(state.against)) against(state.against);
}

/** The two questions; the second only where there is a folder. */
export const questions = () => [folded("cooling", "Cooling, month by month", cooling), alone ? null : folded("compare", "This night against another", compare)].filter(Boolean);
