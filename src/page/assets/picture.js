// The night as one picture: time across, altitude up; twilight, horizon, target, Moon, and what is shot when.

import { $, button, el, show, svg, table, twin } from "./dom.js";
import { capital, clock, clockOf, date as dateWords, fixed, hourOf, later, number, seconds, shortDate, wholePercent } from "./format.js";
import { fillOf, filterLetter, filterName, lineOf } from "./filters.js";
import { draft, read, set } from "./night.js";
import { moonFace } from "./moon.js";
import { ask } from "./server.js";
import { Labels } from "./labelled.js";

const LEFT = 40, RIGHT = 12, TOP = 20, BELOW = 42;
const SHADES = [[-0.833, 1], [-6, 0.7], [-12, 0.45], [-18, 0.2]];
/** An end of a session that lies so near to another moment has it for its reason, in hours. */
const NEAR_H = 0.34;
/** Evenings of the plan that are listed; more are folded. */
const FEW = 4;

const state = { plan: null, evening: 0, course: null, minute: null, drawn: null, path: null, courses: new Map(), key: null };

const evenings = () => state.plan?.schedule?.nights ?? [];
const shown = () => evenings()[state.evening] ?? null;

/** The evening and the hour that somebody else wants to be shown. */
let wanted = null;

export function clear() { show($("picture"), false); }

/** Shows an evening of the plan at an hour of its clock, until it is let go. */
export function evening(i, hour) {
  wanted = { i, hour };
  if (state.course && shown()) { state.evening = i; load(); }
}
export const free = () => { wanted = null; };

/** Draws the night of a plan. */
export async function picture(plan, signal) {
  const own = read(["goal", "date"]);
  if (!plan.night || !own) { clear(); return; }
  const key = JSON.stringify(draft());
  if (key !== state.key) state.courses.clear();
  const kept = shown()?.date;
  state.key = key;
  state.plan = plan;
  const again = evenings().findIndex(({ date }) => date === kept);
  state.evening = Math.min(wanted?.i ?? Math.max(0, again), Math.max(0, evenings().length - 1));
  await load(signal);
}

async function load(signal) {
  const date = shown()?.date ?? state.plan.night.date;
  const key = state.key;
  if (!state.courses.has(date)) state.courses.set(date, (await ask("POST", "/api/course", draft([{ key: ["goal", "date"], value: date }]), signal)).course);
  if (signal?.aborted || key !== state.key) return;
  state.course = state.courses.get(date);
  if (!state.course) { clear(); return; }
  show($("picture"), true);
  heading();
  draw();
  if (wanted && state.drawn) go(at(wanted.hour));
  listed();
  twinTable.fill();
}

const at = (hour) => Math.max(0, Math.min(state.course.sun_deg.length - 1, Math.round((hour - state.course.begins_h) * 60)));
const hourAt = (minute) => state.course.begins_h + minute / 60;
const sessions = () => (shown()?.sessions ?? []).map((session, j) => ({ ...session, j, from: hourOf(session.starts, state.course.date), to: hourOf(session.ends, state.course.date) }));
const altitude = (minute) => state.course.target_deg?.[minute] ?? state.course.altitude_deg;

function heading() {
  const list = sessions(), names = [...new Set(list.map(({ filter }) => filterName(filter)))];
  const often = (up) => new Set(list.filter((session) => (session.moon_up_percent > 50) === up).map(({ filter }) => filterName(filter)));
  const [bright, dark] = [often(true), often(false)];
  const moonlit = [...bright].filter((name) => !dark.has(name)), last = list.length > 0 ? filterName(list.at(-1).filter) : "";
  let words = `The night of ${dateWords(state.course.date)}`;
  if (names.length > 1) words = moonlit.length > 0 && !moonlit.includes(last) ? `${moonlit.join(" and ")} while the Moon is up, ${last} last` : `${filterName(list[0].filter)} first, ${last} last`;
  else if (names.length === 1) words = `${names[0]} from ${clockOf(list[0].starts)} to ${clockOf(list.at(-1).ends)}`;
  $("picture-h").replaceChildren(capital(words));
}

/** Why a session begins or ends where it does. */
function reason(hour, first, last) {
  const { sun_below: below, sun_below_deg: limit, usable_h: usable } = state.course;
  const dark = below.find(({ sun_deg: deg }) => deg === limit)?.spans_h ?? [];
  const near = (spans, side) => ((spans === usable && !state.course.target_deg ? [] : spans) ?? []).some((span) => Math.abs(span[side] - hour) < NEAR_H);
  if (first) return Math.abs((dark[0]?.[0] ?? 99) - hour) < 0.1 ? "dark" : near(usable, 0) ? "above the horizon" : "begin";
  if (last && shown().done_percent >= 99.95 && !near(usable, 1)) return "done";
  return near(dark, 1) ? "dawn" : near(usable, 1) ? "behind the horizon" : shown().done_percent >= 99.95 ? "done" : "end";
}

const line = (points) => points.map(([x, y], i) => `${i === 0 ? "M" : "L"}${x.toFixed(1)} ${y.toFixed(1)}`).join("");

function draw() {
  const place = $("picture-box"), width = Math.round(place.clientWidth);
  const course = state.course;
  if (!course || width < 40) return;
  const small = width < 600, height = small ? 220 : 340, below = BELOW;
  const last = course.sun_deg.length - 1, begins = course.begins_h, ends = hourAt(last);
  const highest = Math.max(0, ...(course.target_deg ?? [course.altitude_deg]));
  const most = highest > 80 ? 90 : 82;
  const x = (hour) => LEFT + ((hour - begins) / (ends - begins)) * (width - LEFT - RIGHT);
  const y = (deg) => height - below - (Math.max(0, deg) / most) * (height - below - TOP);
  const base = y(0), every = (from, to, step = 4) => { const list = []; for (let m = from; m < to; m += step) list.push(m); list.push(to); return list; };
  const labels = new Labels({ left: LEFT + 2, right: width - RIGHT, top: 0, bottom: base });
  const back = svg("g", {}), blocks = svg("g", {}), curves = svg("g", {}), above = svg("g", {});

  // Shade is what cannot be used.
  SHADES.forEach(([deg], i) => {
    const outer = course.sun_below.find(({ sun_deg: own }) => own === deg)?.spans_h ?? [];
    const inner = course.sun_below.find(({ sun_deg: own }) => own === SHADES[i + 1]?.[0])?.spans_h ?? (i === 3 ? outer : []);
    if (i === 3) return;
    for (const [from, to] of outer) {
      const cut = inner.find(([a, b]) => a >= from - 1e-6 && b <= to + 1e-6);
      const parts = cut ? [[from, cut[0]], [cut[1], to]] : [[from, to]];
      for (const [a, b] of parts) if (b > a) back.append(svg("rect", { x: x(Math.max(a, begins)), y: TOP, width: Math.max(0, x(Math.min(b, ends)) - x(Math.max(a, begins))), height: base - TOP, class: `twilight t${i}` }));
    }
  });
  for (const deg of [30, 60]) back.append(svg("path", { d: `M${LEFT} ${y(deg)}H${width - RIGHT}`, class: "rule" }), svg("text", { x: LEFT - 8, y: y(deg) + 4, class: "tick end" }, `${deg}°`));
  back.append(svg("text", { x: LEFT - 8, y: base + 4, class: "tick end" }, "0°"));

  if (course.horizon_deg) {
    const ground = every(0, last).map((m) => [x(hourAt(m)), y(course.horizon_deg[m])]);
    back.append(svg("path", { d: `${line(ground)}L${x(ends)} ${base}L${x(begins)} ${base}Z`, class: "ground-fill" }), svg("path", { d: line(ground), class: "ground-line" }));
  }
  const step = width < 420 ? 3 : width < 760 ? 2 : 1;
  for (let hour = Math.ceil(begins); hour <= ends; hour += 1) {
    const px = x(hour);
    if ((hour - Math.ceil(begins)) % step === 0 && px > LEFT - 4 && px < width - 26) back.append(svg("path", { d: `M${px} ${base}v4`, class: "axis" }), svg("text", { x: px, y: base + 17, class: "tick middle" }, clock(hour)));
  }
  back.append(svg("path", { d: `M${LEFT} ${base}H${width - RIGHT}`, class: "axis" }), svg("text", { x: width - RIGHT, y: height - 4, class: "name end" }, "local time"));

  const list = sessions();
  const bottom = (m) => Math.max(0, course.horizon_deg?.[m] ?? 0);
  for (const session of list) {
    const [from, to] = [at(session.from), at(session.to)];
    if (to <= from) continue;
    const minutes = every(from, to);
    const over = minutes.map((m) => [x(hourAt(m)), y(altitude(m))]), under = minutes.map((m) => [x(hourAt(m)), y(Math.min(bottom(m), altitude(m)))]).reverse();
    blocks.append(svg("path", { d: `${line([...over, ...under])}Z`, fill: fillOf(session.filter), class: `block ${lineOf(session.filter)}` }));
    curves.append(svg("path", { d: line(over), class: "shot" }));
  }
  if (course.target_deg) curves.prepend(svg("path", { d: line(every(0, last).filter((m) => course.target_deg[m] > -3).map((m) => [x(hourAt(m)), y(course.target_deg[m])])), class: "target" }));
  if (course.target_deg) for (const m of every(0, last, 2)) labels.curve([x(hourAt(m)), y(course.target_deg[m])]);
  else curves.prepend(svg("path", { d: `M${x(begins)} ${y(course.altitude_deg)}H${x(ends)}`, class: "target taken" }));

  const up = every(0, last).filter((m) => course.moon_deg[m] > 0);
  const runs = up.reduce((all, m) => { const run = all.at(-1); if (run && m - run.at(-1) <= 4) run.push(m); else all.push([m]); return all; }, []);
  for (const run of runs) curves.append(svg("path", { d: line(run.map((m) => [x(hourAt(m)), y(course.moon_deg[m])])), class: "moon-path" }));
  for (const m of up) labels.curve([x(hourAt(m)), y(course.moon_deg[m])]);

  // Labels, in the order of their right to stay.
  for (const session of list) {
    const [from, to] = [at(session.from), at(session.to)];
    if (to <= from) continue;
    const middle = Math.round((from + to) / 2), [left, right] = [x(hourAt(from)), x(hourAt(to))];
    const high = y(Math.min(bottom(middle), altitude(middle))) - y(altitude(middle));
    const letter = filterLetter(session.filter), words = `${fixed(session.subs)} × ${seconds(session.sub_s)}`;
    const [cx, cy] = [(left + right) / 2, y(altitude(middle)) + high / 2];
    const wide = labels.width(`${letter} ${words}`, true) + 12;
    const fits = high >= 56 && right - left >= 74;
    const tries = small ? [] : fits && right - left > wide + 8 ? [[cx, cy + 4, `${letter} ${words}`]] : fits ? [[cx, cy - 3, [letter, words]]] : [];
    // Above the curve: over its highest point beneath the label.
    const over = (text, more = 0) => { const half = labels.width(text, true) / 2 + 6, span = every(at(hourAt(0) + ((cx - half - LEFT) / (width - LEFT - RIGHT)) * (ends - begins)), at(hourAt(0) + ((cx + half - LEFT) / (width - LEFT - RIGHT)) * (ends - begins))); return Math.min(...span.map((m) => y(altitude(m)))) - 9 - more; };
    const whole = small ? letter : `${letter} ${words}`;
    const free = fits ? [] : [[cx, over(whole), whole], [cx, over(whole, 18), whole], [cx, over(letter), letter], [cx, cy + 4, letter]];
    labels.put(above, [...tries, ...(fits ? [[cx, cy + 4, letter]] : []), ...free].map(([px, py, text]) => ({ x: px, y: py, text, anchor: "middle", class: "tag", tab: true, strong: true })));
  }
  if (list.length > 0) {
    const marks = [[list[0].from, true], [list.at(-1).to, false]];
    for (const [hour, first] of marks) {
      const [cx, cy] = [x(hour), y(altitude(at(hour)))];
      above.append(svg("circle", { cx, cy, r: 4.5, class: "end-ring" }));
      labels.take(cx - 6, cy - 6, 12, 12);
      const why = reason(hour, first, !first), time = clock(hour);
      const text = `${why} ${time}`;
      const sides = first ? [["end", -9], ["start", 9]] : [["start", 9], ["end", -9]];
      labels.put(above, sides.flatMap(([anchor, dx]) => [-8, 18, -24].map((dy) => ({ x: cx + dx, y: cy + dy, text, anchor, class: "name" }))).concat(sides.map(([anchor, dx]) => ({ x: cx + dx, y: cy - 8, text: time, anchor, class: "name" }))));
    }
  }
  if (course.target_deg) {
    const top = course.target_deg.indexOf(highest);
    const name = targetName(), text = `${name}, highest ${clock(hourAt(top))}, ${fixed(highest)}°`;
    if (highest > 5) labels.put(above, [[0, "middle"], [90, "start"], [-90, "end"]].flatMap(([dx, anchor]) => [{ x: x(hourAt(top)) + dx, y: y(highest) - 9, text, anchor, class: "name", strong: true }]).concat([{ x: x(hourAt(top)), y: y(highest) - 9, text: name, anchor: "middle", class: "name", strong: true }]));
  } else labels.put(above, [{ x: x(begins) + 8, y: y(course.altitude_deg) - 8, text: `taken as ${fixed(course.altitude_deg)}° high all night`, anchor: "start", class: "name" }]);
  if (runs.length > 0) {
    const run = runs.reduce((best, own) => (own.length > best.length ? own : best)), lit = course.moon_illuminated_percent;
    const place = run.reduce((best, m) => (course.moon_deg[m] > course.moon_deg[best] ? m : best), run[0]);
    const [cx, cy] = [Math.max(LEFT + 9, Math.min(width - RIGHT - 9, x(hourAt(place)))), y(course.moon_deg[place])];
    above.append(moonFace(cx, cy, 7, lit, course.moon_waxing));
    labels.take(cx - 8, cy - 8, 16, 16);
    const edge = course.moon_up_h.find(([a, b]) => hourAt(place) >= a - 0.1 && hourAt(place) <= b + 0.1);
    const sets = edge && edge[1] < ends ? `, sets ${clock(edge[1])}` : edge && edge[0] > begins ? `, rises ${clock(edge[0])}` : "";
    const long = `Moon, ${wholePercent(lit)} lit${sets}`;
    labels.put(above, [long, `Moon${sets}`, "Moon"].flatMap((text) => [[12, "start", 4], [-12, "end", 4], [12, "start", 22], [-12, "end", 22], [12, "start", -12]].map(([dx, anchor, dy]) => ({ x: cx + dx, y: cy + dy, text, anchor, class: "name" }))));
  }
  if (course.horizon_deg && read(["site", "horizon"]) !== null) labels.put(above, [0.8, 0.65, 0.9, 0.5, 0.3, 0.15].map((part) => { const m = Math.round(last * part); return { x: x(hourAt(m)), y: (y(course.horizon_deg[m]) + base) / 2 + 6, text: `horizon beneath ${targetName()}`, anchor: "middle", class: "name" }; }));
  const dark = course.sun_below.find(({ sun_deg: own }) => own === course.sun_below_deg)?.spans_h ?? [];
  if (dark.length === 1) {
    for (const [hour, text, anchor] of [[dark[0][0], "dark from ", "start"], [dark[0][1], "to ", "end"]]) {
      if (hour <= begins + 0.05 || hour >= ends - 0.05) continue;
      back.append(svg("path", { d: `M${x(hour)} ${TOP}V${base}`, class: "dark-line" }));
      labels.put(above, [{ x: x(hour), y: 13, text: `${text}${clock(hour)}`, anchor, class: "name" }, { x: x(hour), y: 13, text: `${text}${clock(hour)}`, anchor: "middle", class: "name" }]);
    }
  }

  const cursor = svg("g", { class: "cursor-group" }, svg("path", { class: "cursor" }), svg("circle", { r: 6, class: "ring" }), svg("circle", { r: 2.5, class: "dot" }), svg("g", { class: "time" }, svg("rect", { x: -26, y: 0, width: 52, height: 20, class: "time-box" }), svg("text", { x: 0, y: 14.5, class: "tick middle strong" })));
  const slider = svg("g", { id: "picture-slider", role: "slider", tabindex: 0, class: "reader", "aria-labelledby": "picture-h", "aria-valuemin": 0, "aria-valuemax": last }, svg("rect", { x: LEFT, y: TOP, width: width - LEFT - RIGHT, height: base - TOP, class: "reach" }), cursor);
  const drawing = svg("svg", { viewBox: `0 0 ${width} ${height}`, width, height, class: "picture night", role: "group", "aria-label": "the night" }, svg("g", { "aria-hidden": "true" }, back, blocks, curves, above), slider);
  const had = document.activeElement?.id === "picture-slider";
  place.replaceChildren(drawing);
  state.drawn = { x, y, base, cursor, slider, width, begins, ends };
  steer(drawing, slider);
  if (had) slider.focus({ preventScroll: true });
  const first = list[0] ? at(0.75 * list[0].from + 0.25 * list[0].to) : Math.round(last / 2);
  go(state.minute === null || state.minute > last ? first : state.minute, state.minute === null);
}

const targetName = () => { const name = read(["target", "name"]); return name ? String(name).slice(0, 24) : "the target"; };

/** What stands above the figure for the minute under hand or key. */
function go(minute, kept = false) {
  const course = state.course, { x, y, base, cursor, slider, width } = state.drawn;
  const m = Math.max(0, Math.min(course.sun_deg.length - 1, minute));
  state.minute = kept ? null : m;
  const hour = hourAt(m), session = sessions().find(({ from, to }) => hour >= from && hour <= to);
  const target = altitude(m), moon = course.moon_deg[m], sky = course.sky_mag_per_arcsec2?.[m] ?? null;
  const own = (value, path, text) => number(value, path, text, "course");
  const parts = [el("strong", { class: "at" }, clock(hour))];
  if (session) parts.push(el("span", {}, filterName(session.filter)));
  parts.push(el("span", {}, `${targetName()} `, el("strong", {}, course.target_deg ? own(target, `target_deg/${m}`, `${fixed(target)}°`) : `${fixed(target)}°`)));
  parts.push(moon > 0 ? el("span", {}, "Moon ", el("strong", {}, own(moon, `moon_deg/${m}`, `${fixed(moon)}°`)), ", ", own(course.moon_illuminated_percent, "moon_illuminated_percent", wholePercent(course.moon_illuminated_percent)), " lit") : el("span", {}, "Moon down"));
  if (sky !== null) parts.push(el("span", {}, "sky ", el("strong", {}, own(sky, `sky_mag_per_arcsec2/${m}`, sky.toFixed(1))), "\u00a0mag/arcsec²"));
  if (session) parts.push(el("span", {}, "a sub here is worth ", el("strong", {}, number(session.worth_percent, `schedule/nights/${state.evening}/sessions/${session.j}/worth_percent`, wholePercent(session.worth_percent))), " of the filter’s mean"));
  $("picture-reading").replaceChildren(...parts.flatMap((part) => [part, " "]), el("span", { class: "keys" }, "← → minutes, page keys evenings"));
  const px = x(hour);
  cursor.children[0].setAttribute("d", `M${px} ${TOP}V${base}`);
  for (const ring of [cursor.children[1], cursor.children[2]]) { ring.setAttribute("cx", px); ring.setAttribute("cy", y(target)); ring.setAttribute("visibility", target > 0 ? "visible" : "hidden"); }
  cursor.children[3].setAttribute("transform", `translate(${Math.max(LEFT + 4, Math.min(width - 28, px))} ${base + 3})`);
  cursor.children[3].children[1].replaceChildren(clock(hour));
  slider.setAttribute("aria-valuenow", m);
  slider.setAttribute("aria-valuetext", parts.map((part) => part.textContent).join(", "));
}

function steer(drawing, slider) {
  const under = (event) => { const frame = drawing.getBoundingClientRect(), { width, begins, ends } = state.drawn; return Math.round((((event.clientX - frame.left - LEFT) / (width - LEFT - RIGHT)) * (ends - begins)) * 60); };
  slider.addEventListener("pointermove", (event) => go(under(event)));
  slider.addEventListener("pointerdown", (event) => go(under(event)));
  slider.addEventListener("keydown", (event) => {
    const now = Number(slider.getAttribute("aria-valuenow")), step = event.shiftKey ? 1 : 10, list = sessions();
    const to = { ArrowLeft: now - step, ArrowRight: now + step, Home: list[0] ? at(list[0].from) : 0, End: list.length > 0 ? at(list.at(-1).to) : state.course.sun_deg.length - 1 }[event.key];
    if (to !== undefined) go(to);
    else if (event.key === "PageUp") move(-1);
    else if (event.key === "PageDown") move(1);
    else return;
    event.preventDefault();
  });
}

/** Another evening: the night begins a day sooner or later. */
function move(days) { set([[["goal", "date"], later(read(["goal", "date"]), days)]]); }

/** The date below the figure, to be dragged sideways, and the other evenings of the plan in a line each. */
function listed() {
  const own = read(["goal", "date"]);
  const handle = el("span", { class: "date-handle", id: "picture-date" }, el("strong", {}, dateWords(state.course.date)));
  handle.addEventListener("pointerdown", (event) => {
    const start = event.clientX;
    let days = 0;
    handle.setPointerCapture(event.pointerId);
    handle.onpointermove = (moved) => { days = Math.round((moved.clientX - start) / 24); handle.firstChild.replaceChildren(dateWords(later(own, days))); };
    handle.onpointerup = handle.onpointercancel = () => { handle.onpointermove = null; if (days !== 0) move(days); };
  });
  $("picture-dates").replaceChildren(button(`‹ ${shortDate(later(own, -1))}`, () => move(-1), { "aria-label": `begin ${dateWords(later(own, -1))}` }), handle, button(`${shortDate(later(own, 1))} ›`, () => move(1), { "aria-label": `begin ${dateWords(later(own, 1))}` }));
  const all = evenings();
  const rows = all.length < 2 ? [] : all.map((night, i) => el("li", { class: i === state.evening ? "own" : null },
    button(dateWords(night.date), () => { state.evening = i; state.minute = null; load(); }, { class: "link", "aria-pressed": String(i === state.evening) }), " ",
    night.sessions.map((session) => `${filterLetter(session.filter)} ${fixed(session.subs)} × ${seconds(session.sub_s)} from ${clockOf(session.starts)}`).join(", "), "; ",
    number(night.done_percent, `schedule/nights/${i}/done_percent`, wholePercent(night.done_percent)), " done"));
  const few = rows.length > FEW + 1 ? FEW : rows.length;
  $("picture-others").replaceChildren(...rows.slice(0, few), ...(few < rows.length ? [el("li", {}, el("details", { open: state.evening >= few }, el("summary", {}, `${rows.length - few} more evenings`), el("ul", { class: "others" }, ...rows.slice(few))))] : []));
}

const twinTable = twin("picture", () => {
  const course = state.course;
  const minutes = [];
  for (let m = (60 - Math.round((course.begins_h % 1) * 60)) % 30; m < course.sun_deg.length; m += 30) minutes.push(m);
  return table(["local time", "target", "horizon", "Moon", "Sun", "sky, mag/arcsec²"], minutes.map((m) => [clock(hourAt(m)), `${fixed(altitude(m), 1)}°`, course.horizon_deg ? `${fixed(course.horizon_deg[m], 1)}°` : "–", `${fixed(course.moon_deg[m], 1)}°`, `${fixed(course.sun_deg[m], 1)}°`, course.sky_mag_per_arcsec2?.[m]?.toFixed(2) ?? "–"]), dateWords(course.date));
});

export function start() {
  $("picture-twin").replaceWith(twinTable.box);
  let width = 0;
  new ResizeObserver(() => { const now = $("picture-box").clientWidth; if (now !== width) { width = now; draw(); } }).observe($("picture-box"));
}
/** What a test asks for: the document that the picture is drawn from. */
export const drawnFrom = () => state.course;
