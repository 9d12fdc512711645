// The map over sub length and dither cadence, with a working point to drag about.

import { $, button, el, show, svg, table, twin } from "./dom.js";
import { counted, hours, rounded, seconds } from "./format.js";
import { filterName } from "./filters.js";
import { read, set } from "./night.js";

const BANDS = [[3, "up to 3\u00a0% more"], [10, "up to 10\u00a0%"], [25, "up to 25\u00a0%"], [60, "up to 60\u00a0%"], [150, "up to 150\u00a0%"], [Infinity, "more"]];
const TICKS = [0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 3600];
const LEFT = 40, RIGHT = 12, TOP = 8, BELOW = 42, TICK_ROOM = 34, ROW_ROOM = 15, REACH = 24;

const state = { maps: [], which: 0, at: null, moved: false, drawn: null };
let handed = () => {};

/** The length and cadence under the hand, where that is another place than what the night has. */
export const hand = () => (state.moved && state.at && map() ? [{ key: ["goal", "sub_s"], value: map().sub_s[state.at.column] }, { key: ["goal", "dither_every"], value: map().dither_every_subs[state.at.row] }] : null);
/** The map is of the night whose length and cadence are free. */
export const FREE = [{ key: ["goal", "sub_s"], value: null }, { key: ["goal", "dither_every"], value: null }];
const taken = () => read(["goal", "sub_s"]) !== null || read(["goal", "dither_every"]) !== null;

const map = () => state.maps[state.which];
const band = (cell) => BANDS.findIndex(([most]) => cell.extra_percent <= most + 1e-9);
const cell = ({ column, row }) => map().cells[row][column];
const planAt = () => ({ column: map().sub_s.indexOf(map().plan_sub_s), row: map().dither_every_subs.indexOf(map().plan_every_subs) });
const nearest = (list, value) => list.reduce((best, one, i) => (Math.abs(Math.log(one / value)) < Math.abs(Math.log(list[best] / value)) ? i : best), 0);
/** Where the night stands: at what was taken, else at the best. */
function homeAt() {
  const best = planAt(), [sub, every] = [read(["goal", "sub_s"]), read(["goal", "dither_every"])];
  return { column: sub === null ? best.column : nearest(map().sub_s, sub), row: every === null ? best.row : nearest(map().dither_every_subs, every) };
}

/** Columns and rows that hold anything. */
function extent() {
  const { cells, sub_s } = map();
  const columns = sub_s.map((_, column) => column).filter((column) => cells.some((row) => row[column]));
  const rows = cells.map((_, row) => row).filter((row) => cells[row].some(Boolean));
  return { first: columns[0], last: columns.at(-1), low: rows[0], high: rows.at(-1) };
}

function more(extra) {
  if (Math.abs(extra) < 0.5) return "as the best";
  return `${extra > 0 ? "+" : "−"}${rounded(Math.abs(extra), Math.abs(extra) < 10 ? 1 : 2)}\u00a0% against the best`;
}
const place = ({ column, row }) => { const every = map().dither_every_subs[row]; return `${seconds(map().sub_s[column])}, every ${every === 1 ? "sub" : every}`; };

function words(at) {
  const one = cell(at), best = cell(planAt());
  if (one === best) return `${counted(one.subs_to_shoot, "sub")}, ${map().compares === "snr" ? `SNR ${rounded(one.snr, 3)}` : hours(one.wall_clock_s)}`;
  if (map().compares === "snr") return `${counted(one.subs_to_shoot, "sub")}, SNR ${rounded(one.snr, 3)}; best ${rounded(best.snr, 3)}; in time ${more(one.extra_percent)}`;
  return `${counted(one.subs_to_shoot, "sub")}, ${hours(one.wall_clock_s)}; best ${hours(best.wall_clock_s)}, ${more(one.extra_percent)}`;
}

function say() {
  const text = words(state.at), best = planAt(), atBest = state.at.column === best.column && state.at.row === best.row;
  $("hand-place").replaceChildren(place(state.at));
  $("hand-said").replaceChildren(text);
  show($("map-take"), state.moved);
  show($("map-best"), taken() || !atBest);
  $("hand-h").replaceChildren(state.moved ? "At your hand" : taken() ? "Taken for the night" : "The best");
  show($("hand-all"), state.maps.length > 1);
  if (!state.drawn) return;
  const { x, y, handle, across, down, box } = state.drawn;
  const [cx, cy] = [x(state.at.column), y(state.at.row)];
  handle.setAttribute("transform", `translate(${cx} ${cy})`);
  handle.setAttribute("aria-valuenow", state.at.column);
  handle.setAttribute("aria-valuetext", `${place(state.at)}: ${text}`);
  for (const [line, ends] of [[across, { x1: box.left, x2: cx, y1: cy, y2: cy }], [down, { x1: cx, x2: cx, y1: cy, y2: box.bottom }]]) {
    for (const [key, value] of Object.entries(ends)) line.setAttribute(key, value);
  }
}

function moved(tell = true) {
  const home = homeAt();
  state.moved = state.at.column !== home.column || state.at.row !== home.row;
  say();
  if (tell) handed();
}

/** Goes to the nearest place that no rule forbids, as far as the eye sees it. */
function go(wanted, tell = true) {
  const { sub_s, cells } = map();
  const far = (column, row) => (Math.log(sub_s[column] / sub_s[wanted.column]) * 3) ** 2 + (row - wanted.row) ** 2;
  let best = null;
  cells.forEach((list, row) => list.forEach((one, column) => {
    if (one && (best === null || far(column, row) < far(best.column, best.row))) best = { column, row };
  }));
  if (best === null) return;
  const stays = state.at && best.column === state.at.column && best.row === state.at.row;
  state.at = best;
  moved(tell && !stays);
}

/** One step in a direction, over forbidden places if need be. */
function step(columns, rows) {
  const { sub_s, dither_every_subs } = map();
  let { column, row } = state.at;
  for (;;) {
    column += columns;
    row += rows;
    if (column < 0 || row < 0 || column >= sub_s.length || row >= dither_every_subs.length) return;
    if (cell({ column, row })) { state.at = { column, row }; break; }
  }
  moved();
}

function draw() {
  const place = $("map");
  const width = Math.round(place.clientWidth);
  if (!map() || width < 40) return;
  const { sub_s, dither_every_subs, cells } = map();
  const { first, last, low, high } = extent();
  const height = Math.max(230, Math.min(380, Math.round(width * 0.55)));
  const box = { left: LEFT, right: width - RIGHT, top: TOP, bottom: height - BELOW };
  // Columns end half-way to their neighbours on the logarithmic axis.
  const edge = (i) => (i <= first ? sub_s[first] / Math.sqrt((sub_s[first + 1] ?? sub_s[first] * 1.2) / sub_s[first]) : i > last ? sub_s[last] * Math.sqrt(sub_s[last] / (sub_s[last - 1] ?? sub_s[last] / 1.2)) : Math.sqrt(sub_s[i - 1] * sub_s[i]));
  const [from, to] = [Math.log(edge(first)), Math.log(edge(last + 1))];
  const across = (seconds) => box.left + ((Math.log(seconds) - from) / (to - from)) * (box.right - box.left);
  const tall = (box.bottom - box.top) / (high - low + 1);
  const x = (column) => across(sub_s[column]);
  const y = (row) => box.bottom - (row - low + 0.5) * tall;
  const picture = svg("svg", { viewBox: `0 0 ${width} ${height}`, width, height, class: "map", role: "group", "aria-labelledby": "map-h" });
  const tiles = svg("g", { "aria-hidden": "true" });
  const outline = [];
  const best = (column, row) => Boolean(cells[row]?.[column]) && band(cells[row][column]) === 0;
  for (let row = low; row <= high; row += 1) {
    for (let column = first; column <= last; column += 1) {
      const one = cells[row][column];
      const [left, right] = [across(edge(column)), across(edge(column + 1))];
      const [top, bottom] = [y(row) - tall / 2, y(row) + tall / 2];
      tiles.append(svg("rect", { x: left, y: top, width: right - left + 0.3, height: tall + 0.3, class: one ? `band b${band(one)}` : "band none" }));
      if (!best(column, row)) continue;
      if (!best(column - 1, row)) outline.push(`M${left} ${top}V${bottom}`);
      if (!best(column + 1, row)) outline.push(`M${right} ${top}V${bottom}`);
      if (!best(column, row - 1)) outline.push(`M${left} ${bottom}H${right}`);
      if (!best(column, row + 1)) outline.push(`M${left} ${top}H${right}`);
    }
  }
  tiles.append(svg("path", { d: outline.join(""), class: "outline" }));
  tiles.append(svg("path", { d: `M${box.left} ${box.top}V${box.bottom}H${box.right}`, class: "axis" }));
  let free = -Infinity;
  for (const tick of TICKS) {
    const at = across(tick);
    if (at < box.left || at > box.right - 4 || at - free < TICK_ROOM) continue;
    free = at;
    tiles.append(svg("path", { d: `M${at} ${box.bottom}v5`, class: "axis" }), svg("text", { x: at, y: box.bottom + 17, class: "tick middle" }, String(tick)));
  }
  free = Infinity;
  for (let row = low; row <= high; row += 1) {
    if (free - y(row) < ROW_ROOM) continue;
    free = y(row);
    tiles.append(svg("text", { x: box.left - 7, y: y(row) + 4, class: "tick end" }, String(dither_every_subs[row])));
  }
  const middle = (box.top + box.bottom) / 2;
  tiles.append(svg("text", { x: (box.left + box.right) / 2, y: height - 6, class: "name middle" }, "length of a sub in s"));
  tiles.append(svg("text", { x: 11, y: middle, class: "name middle", transform: `rotate(-90 11 ${middle})` }, "subs between dithers"));
  const plan = planAt();
  const [px, py] = [x(plan.column), y(plan.row)];
  const lineAcross = svg("line", { class: "hair" }), lineDown = svg("line", { class: "hair" });
  tiles.append(lineAcross, lineDown, svg("path", { d: `M${px} ${py - 8}l8 8l-8 8l-8 -8z`, class: "plan" }));
  const handle = svg("g", { class: "handle", role: "slider", tabindex: 0, id: "point", "aria-label": "length of a sub and cadence of dithers; left and right change the length, up and down the cadence, Home is the best, Enter takes it", "aria-valuemin": first, "aria-valuemax": last },
    svg("circle", { r: REACH, class: "reach" }), svg("circle", { r: 11, class: "halo" }), svg("circle", { r: 11, class: "ring" }));
  picture.append(tiles, handle);
  const had = document.activeElement?.id === "point";
  place.replaceChildren(picture);
  state.drawn = { x, y, handle, across: lineAcross, down: lineDown, box };
  steer(picture, handle, { across, first, last, low, high, tall, box });
  if (had) handle.focus({ preventScroll: true });
  say();
}

function steer(picture, handle, { first, last, low, high, tall, box }) {
  const { x } = state.drawn;
  const under = (event) => {
    const frame = picture.getBoundingClientRect();
    const [px, py] = [event.clientX - frame.left, event.clientY - frame.top];
    let column = first;
    for (let i = first; i <= last; i += 1) if (Math.abs(x(i) - px) < Math.abs(x(column) - px)) column = i;
    const row = Math.max(low, Math.min(high, low + Math.floor((box.bottom - py) / tall)));
    return { column, row };
  };
  let held = null;
  picture.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    held = event.pointerId;
    // A finger beside the handle scrolls the page; only its tap counts.
    if (event.pointerType === "touch" && !handle.contains(event.target)) return;
    picture.setPointerCapture(held);
    go(under(event));
    handle.focus({ preventScroll: true });
    event.preventDefault();
  });
  picture.addEventListener("pointermove", (event) => {
    if (event.pointerId === held && picture.hasPointerCapture(held)) go(under(event));
  });
  for (const end of ["pointerup", "pointercancel"]) picture.addEventListener(end, () => { held = null; });
  picture.addEventListener("click", (event) => { if (!handle.contains(event.target)) go(under(event)); });
  const keys = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
  handle.addEventListener("keydown", (event) => {
    if (event.key === "Home") go(planAt());
    else if (event.key === "Escape") go(homeAt());
    else if (event.key === "Enter") takeThis();
    else if (event.key in keys) step(...keys[event.key]);
    else return;
    event.preventDefault();
  });
}

const twinTable = twin("map", () => {
  if (!map()) return "";
  const { sub_s, dither_every_subs, cells, compares } = map();
  const { first, last, low, high } = extent();
  const rows = [];
  for (let column = first; column <= last; column += 1) {
    rows.push([seconds(sub_s[column]), ...cells.slice(low, high + 1).map((row) => {
      const one = row[column];
      if (!one) return "–";
      return compares === "snr" ? rounded(one.snr, 3) : hours(one.wall_clock_s);
    })]);
  }
  const what = compares === "snr" ? "signal to noise in the hours of this filter" : "time on the clock to the goal";
  return el("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "the map as a table" }, table(["sub", ...dither_every_subs.slice(low, high + 1).map((every) => `every ${every}`)], rows, `${what}, by length of a sub and subs between dithers`));
});

function takeThis() {
  const found = hand();
  if (!found) return;
  state.moved = false;
  set(found.map(({ key, value }) => [key, value]));
}

/** Takes new maps; the point under the hand stays where it is. */
export function maps(document, { kept = false } = {}) {
  const held = kept && state.moved && state.at && map() ? { sub: map().sub_s[state.at.column], every: map().dither_every_subs[state.at.row] } : null;
  state.maps = document.filters;
  if (state.which >= state.maps.length) state.which = 0;
  chooser();
  renew(held);
}

function chooser() {
  show($("map-which"), state.maps.length > 1);
  $("map-which").replaceChildren("for ", ...state.maps.map((one, i) => button(filterName(one.filter), () => { state.which = i; chooser(); renew(null); $("map-which").querySelectorAll("button")[i].focus(); }, { class: "choice", "aria-pressed": String(i === state.which) })).flatMap((one) => [one, " "]));
}

function renew(held) {
  const { sub_s, dither_every_subs, compares } = map();
  $("map-caption").replaceChildren(compares === "snr" ? "signal to noise in the hours of this filter; the fuller the tint, the more" : "hours on the clock to the goal; the fuller the tint, the fewer");
  state.drawn = null;
  state.at = null;
  go(held ? { column: nearest(sub_s, held.sub), row: nearest(dither_every_subs, held.every) } : homeAt(), false);
  draw();
  twinTable.fill();
}

/** The hand lets go: the night is another one. */
export function release() { state.moved = false; if (map() && state.at) go(homeAt(), false); }

export function start(onHand) {
  handed = onHand;
  $("map-key").replaceChildren(
    ...BANDS.map(([, label], i) => el("li", {}, svg("svg", { class: "swatch", viewBox: "0 0 22 14", "aria-hidden": "true" }, svg("rect", { x: 0, y: 0, width: 22, height: 14, class: `band b${i}` }), ...(i === 0 ? [svg("rect", { x: 1, y: 1, width: 20, height: 12, class: "outline" })] : [])), ` ${label}`)),
    el("li", {}, svg("svg", { class: "swatch", viewBox: "0 0 22 14", "aria-hidden": "true" }, svg("path", { d: "M11 0l7 7l-7 7l-7 -7z", class: "plan" })), " best"),
    el("li", {}, svg("svg", { class: "swatch", viewBox: "0 0 22 14", "aria-hidden": "true" }, svg("circle", { cx: 11, cy: 7, r: 5.5, class: "ring" })), " your hand: drag it, or use the arrow keys"));
  $("map-take").addEventListener("click", takeThis);
  $("map-best").addEventListener("click", () => { state.moved = false; if (taken()) set(FREE.map(({ key, value }) => [key, value])); else go(planAt()); $("point")?.focus({ preventScroll: true }); });
  $("map-twin").replaceWith(twinTable.box);
  let width = 0;
  new ResizeObserver(() => { const now = $("map").clientWidth; if (now !== width) { width = now; draw(); } }).observe($("map"));
}
