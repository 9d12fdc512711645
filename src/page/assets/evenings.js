// The evenings of the plan and its second, short set, read from the document of `subwell plan --json`.

import { $, button, download, el, show, table } from "./dom.js";
import { clockOf, counted, date, fixed, hours, number, percent as percentWords, plain, rounded, seconds, wholePercent } from "./format.js";
import { filterName } from "./filters.js";
import { draft } from "./night.js";
import { stem } from "./report.js";
import { ask } from "./server.js";

const LEFT_OUT = { "no-hours": "not dark while the target is up", "not-worth-it": "the others reach the goal as soon, in less time" };
const BURNS = { core: "core", star: "star" };

const time = (value, path) => number(value, path, hours(value));
const length = (value, path) => number(value, path, seconds(value));
const percent = (value, path) => number(value, path, wholePercent(value));

function eveningsTable(schedule) {
  const rows = schedule.nights.flatMap((night, i) => night.sessions.map((session, j) => {
    const at = `schedule/nights/${i}/sessions/${j}`;
    const [low, high] = session.target_altitude_deg;
    const last = j === night.sessions.length - 1;
    return [
      j === 0 ? date(night.date) : "",
      `${clockOf(session.starts)} to ${clockOf(session.ends)}`,
      filterName(session.filter),
      number(session.subs, `${at}/subs`, String(session.subs)),
      percent(session.worth_percent, `${at}/worth_percent`),
      session.moon_up_percent > 0 ? percent(session.moon_up_percent, `${at}/moon_up_percent`) : number(session.moon_up_percent, `${at}/moon_up_percent`, "no"),
      el("span", {}, number(low, `${at}/target_altitude_deg/0`, fixed(low)), "–", number(high, `${at}/target_altitude_deg/1`, `${fixed(high)}°`)),
      last ? percent(night.done_percent, `schedule/nights/${i}/done_percent`) : "",
    ];
  }));
  return table(["evening", "local time", "filter", "subs", "worth", "Moon up", "target high", "done"], rows, null, { class: "cards" });
}

/** Nights between that are left out, told together. */
function leftOut(schedule) {
  return Object.entries(LEFT_OUT).flatMap(([why, words]) => {
    const dates = schedule.left_out.filter((night) => night.why === why).map((night) => date(night.date));
    if (dates.length === 0) return [];
    const which = dates.length === 1 ? `${dates[0]} is left out` : `${dates.length} nights from ${dates[0]} to ${dates.at(-1)} are left out`;
    return [el("p", {}, `${which}: ${words}.`)];
  });
}

function clouds(schedule) {
  const by = schedule.done_by.flatMap((one, i) => {
    const at = `schedule/done_by/${i}`;
    const when = one.date === null ? ["later than in two months"]
      : ["by ", date(one.date), " (", number(one.calendar_nights, `${at}/calendar_nights`, counted(one.calendar_nights, "night")), ")"];
    return [i === 0 ? " " : ", ", number(one.chance_percent, `${at}/chance_percent`, percentWords(one.chance_percent)), " of the time ", ...when];
  });
  return el("p", {}, "With ", number(schedule.clear_share, "schedule/clear_share", wholePercent(100 * schedule.clear_share)),
    " of nights clear it is done", ...by,
    ". Each night begins with ", number(schedule.setup_min, "schedule/setup_min", `${schedule.setup_min}\u00a0min`), " of set-up; ",
    number(schedule.refocus_min_per_hour, "schedule/refocus_min_per_hour", `${schedule.refocus_min_per_hour}\u00a0min`), " of each hour go to refocusing.");
}

/** What another beginning or better nights would save. */
function betterNights(schedule) {
  const said = [];
  const wait = schedule.wait_until;
  if (wait && wait.done_on) {
    const saves = schedule.finished
      ? [", which saves ", percent(schedule.wait_saves_percent, "schedule/wait_saves_percent"), " of the time"] : [];
    said.push(el("p", {}, "Wait until ", date(wait.date), ...saves, ": ",
      time(wait.wall_clock_s, "schedule/wait_until/wall_clock_s"), " in ",
      number(wait.nights, "schedule/wait_until/nights", counted(wait.nights, "night")), ", done on ", date(wait.done_on), "."));
  }
  const least = schedule.least_time;
  if (least) {
    said.push(el("p", {}, "Least time: ", time(least.wall_clock_s, "schedule/least_time/wall_clock_s"), " in ",
      number(least.nights, "schedule/least_time/nights", counted(least.nights, "night")), ", ", date(least.begins_on), " to ",
      date(least.done_on), ", which saves ", percent(least.saves_percent, "schedule/least_time/saves_percent"), "."));
  }
  return said;
}

/** The evenings on which the plan is shot, if all are clear. */
export function evenings(plan) {
  files();
  const schedule = plan.schedule;
  const any = Boolean(schedule && schedule.nights.length > 0);
  show($("evenings"), any);
  if (!any) return;
  $("evenings-table").replaceChildren(eveningsTable(schedule));
  $("evenings-said").replaceChildren(...betterNights(schedule), ...leftOut(schedule),
    el("p", { class: "quiet" }, "Worth: what a sub brings there, the filter's mean sub being 100 %. Moon up: how much of the time."), clouds(schedule));
}

function blend(plane, at) {
  const [low, high] = plane.blend_e;
  const name = plane.colour ? `plane ${plane.plane} (${plane.colour})` : `plane ${plane.plane}`;
  return [el("dt", {}, plain(name)), el("dd", {},
    "blend from ", number(low, `${at}/blend_e/0`, rounded(low, 3)), " to ", number(high, `${at}/blend_e/1`, `${rounded(high, 3)} e⁻`), " of the long subs, ",
    number(plane.blend_dn[0], `${at}/blend_dn/0`, String(plane.blend_dn[0])), " to ", number(plane.blend_dn[1], `${at}/blend_dn/1`, `${plane.blend_dn[1]} DN`), ": ",
    number(plane.overlap_mag, `${at}/overlap_mag`, `${plane.overlap_mag.toFixed(1)} mag`), " that both sets hold; the short set has SNR ",
    number(plane.snr_in_a_pixel, `${at}/snr_in_a_pixel`, rounded(plane.snr_in_a_pixel, 3)), " in the brightest pixel, ",
    number(plane.snr_at_the_seam, `${at}/snr_at_the_seam`, rounded(plane.snr_at_the_seam, 3)), " where the long one ends")];
}

function set(one, i) {
  const at = `short_set/sets/${i}`;
  const head = el("h3", {}, `${filterName(one.name)}, for the ${BURNS[one.for] ?? plain(one.for)}`);
  const burns = length(one.burns_after_s, `${at}/burns_after_s`);
  const after = one.saturation_is === "at-least" ? "may burn after " : "burns after ";
  if (!one.needed) return [head, el("p", {}, `Not needed: it ${after}`, burns, ", the subs are ", length(one.long_sub_s, `${at}/long_sub_s`), ".")];
  if (one.sub_s === null) return [head, el("p", {}, `It ${after}`, burns, "; no sub is short enough within the rules of the stack.")];
  const every = one.dither_every_subs;
  const list = el("dl", {},
    el("dt", {}, "why"), el("dd", {}, `it ${after}`, burns, "; the subs of the plan are ", length(one.long_sub_s, `${at}/long_sub_s`)),
    el("dt", {}, "subs"), el("dd", {}, number(one.subs_kept, `${at}/subs_kept`, String(one.subs_kept)), " of ", length(one.sub_s, `${at}/sub_s`), ", ",
      number(one.subs_to_shoot, `${at}/subs_to_shoot`, String(one.subs_to_shoot)), " to shoot, dither every ", number(every, `${at}/dither_every_subs`, every === 1 ? "sub" : `${every} subs`), ": ",
      time(one.wall_clock_s, `${at}/wall_clock_s`), " on the clock"));
  if (one.instead) {
    const here = `${at}/instead`;
    list.append(el("dt", {}, "instead"), el("dd", {}, "of the plan above: subs of ", length(one.instead.long_sub_s, `${here}/long_sub_s`), " in ", time(one.instead.long_wall_clock_s, `${here}/long_wall_clock_s`), ", ",
      time(one.instead.with_short_set_s, `${here}/with_short_set_s`), " with the short set, ", time(one.instead.saves_s, `${here}/saves_s`), " less than the plan"));
  }
  one.planes.forEach((plane, j) => list.append(...blend(plane, `${at}/planes/${j}`)));
  return [head, list];
}

/** The second, short set, where a core or a star would burn. */
export function shortSet(plan) {
  const any = Boolean(plan.short_set && plan.short_set.sets.length > 0);
  show($("short"), any);
  if (any) $("short-sets").replaceChildren(...plan.short_set.sets.flatMap(set));
}

/** The evenings as files to keep. */
export function files() {
  const give = (what, name, kind) => async () => {
    try { const found = await ask("POST", "/api/evenings", draft()); if (found[what]) download(name, kind, found[what]); } catch (error) { $("evenings-files").append(` ${plain(error.message)}`); }
  };
  $("evenings-files").replaceChildren(button("as a calendar file", give("calendar", `${stem()}.ics`, "text/calendar"), { class: "link" }), " ", button("as a table", give("table", `${stem()}.csv`, "text/csv"), { class: "link" }));
}
