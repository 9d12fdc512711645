// The horizon: azimuth across, rings to drag up and down.

import { button, el, svg, table } from "./dom.js";
import { clock, fixed } from "./format.js";
import { hold, read, set, take, type } from "./night.js";
import { drawnFrom } from "./picture.js";

const KEY = ["site", "horizon"];
const TOP = 90, HEIGHT = 210, LEFT = 40, RIGHT = 16, BELOW = 26, ABOVE = 8;
const DIRECTIONS = ["north", "east", "south", "west", "north"];

const sorted = (points) => [...points].map(([azimuth, altitude]) => [((azimuth % 360) + 360) % 360, altitude]).sort((a, b) => a[0] - b[0]);

/** The altitude in a direction: a straight line between the two nearest points, around north as anywhere. */
function altitudeAt(points, azimuth) {
  const next = points.findIndex(([own]) => own > azimuth);
  const [a, b] = next < 0 ? [points.at(-1), [points[0][0] + 360, points[0][1]]] : next === 0 ? [[points.at(-1)[0] - 360, points.at(-1)[1]], points[0]] : [points[next - 1], points[next]];
  return b[0] === a[0] ? a[1] : a[1] + ((b[1] - a[1]) * (azimuth - a[0])) / (b[0] - a[0]);
}

/** Tonight's path of the target over the directions: runs that do not pass north, and the hours on it. */
function path() {
  const course = drawnFrom();
  if (!course?.target_azimuth_deg) return { runs: [], hours: [] };
  const runs = [], hours = [];
  course.target_azimuth_deg.forEach((azimuth, minute) => {
    const altitude = course.target_deg[minute], hour = course.begins_h + minute / 60, run = runs.at(-1);
    if (altitude <= 0) { if (run?.length > 0) runs.push([]); return; }
    if (run === undefined || (run.length > 0 && Math.abs(run.at(-1)[0] - azimuth) > 180)) runs.push([]);
    runs.at(-1).push([azimuth, altitude]);
    if (Math.abs(hour - Math.round(hour)) < 1 / 120 && Math.round(hour) % 2 === 0) hours.push([azimuth, altitude, clock(hour)]);
  });
  return { runs: runs.filter((run) => run.length > 1), hours };
}

export function horizon() {
  let points = sorted(read(KEY) ?? []), at = 0;
  const tonight = path();
  const reading = el("p", { class: "reading" }), place = el("div", { class: "picture-box" }), twin = el("div", {});
  let drawn = null;

  const write = (typed) => { if (typed) type(KEY, points); };
  const say = () => {
    const [azimuth, altitude] = points[at];
    const words = [`azimuth ${fixed(azimuth)}°`, `altitude ${fixed(altitude, altitude % 1 ? 1 : 0)}°`];
    reading.replaceChildren(...words.map((word) => el("strong", {}, `${word} `)), el("span", { class: "keys" }, "drag a ring; ← → next ring, ↑ ↓ a degree, Enter adds, Delete takes away"));
    return words.join(", ");
  };
  const rows = () => twin.replaceChildren(table(["azimuth", "altitude"], points.map(([azimuth, altitude]) => [`${fixed(azimuth)}°`, `${fixed(altitude, altitude % 1 ? 1 : 0)}°`])));

  function draw() {
    const width = Math.max(240, Math.round(place.clientWidth || 600));
    const x = (azimuth) => LEFT + (azimuth / 360) * (width - LEFT - RIGHT);
    const y = (altitude) => HEIGHT - BELOW - (Math.max(0, altitude) / TOP) * (HEIGHT - BELOW - ABOVE);
    const line = [[0, altitudeAt(points, 0)], ...points, [360, altitudeAt(points, 0)]].map(([a, h]) => `${x(a)} ${y(h)}`).join("L");
    const marks = svg("g", { "aria-hidden": "true" }, svg("path", { d: `M${x(0)} ${y(0)}L${line}L${x(360)} ${y(0)}Z`, class: "ground-fill" }), ...[30, 60].flatMap((h) => [svg("path", { d: `M${x(0)} ${y(h)}H${x(360)}`, class: "rule" }), svg("text", { x: LEFT - 8, y: y(h) + 4, class: "tick end" }, `${h}°`)]),
      ...tonight.runs.map((run) => svg("path", { d: `M${run.map(([a, h]) => `${x(a).toFixed(1)} ${y(h).toFixed(1)}`).join("L")}`, class: "moon-path" })),
      ...tonight.hours.filter(([a], i, all) => all.slice(0, i).every(([other]) => Math.abs(x(other) - x(a)) > 44)).map(([a, h, time]) => svg("text", { x: Math.max(LEFT + 18, Math.min(width - RIGHT - 18, x(a))), y: y(h) - 6, class: "tick middle" }, time)),
      svg("path", { d: `M${line}`, class: "curve" }), svg("path", { d: `M${x(0)} ${y(0)}H${x(360)}`, class: "axis" }),
      ...DIRECTIONS.map((name, i) => svg("text", { x: x(i * 90), y: HEIGHT - 8, class: `tick ${i === 0 ? "start" : i === 4 ? "end" : "middle"}` }, name)));
    const rings = points.map(([azimuth, altitude], i) => svg("g", { transform: `translate(${x(azimuth)} ${y(altitude)})`, class: `handle${i === at ? " on" : ""}` }, svg("circle", { r: 16, class: "reach" }), svg("circle", { r: i === at ? 8 : 5, class: "ring" })));
    const slider = svg("g", { role: "slider", tabindex: 0, class: "reader", id: "horizon-slider", "aria-label": "ring of the horizon", "aria-valuemin": 0, "aria-valuemax": 90, "aria-valuenow": Math.round(points[at][1]), "aria-valuetext": say() }, ...rings);
    const picture = svg("svg", { viewBox: `0 0 ${width} ${HEIGHT}`, width, height: HEIGHT, class: "picture", role: "group", "aria-label": "the horizon" }, marks, slider);
    const had = document.activeElement?.id === "horizon-slider";
    place.replaceChildren(picture);
    if (had) slider.focus({ preventScroll: true });
    drawn = { picture, slider, x, y, width };
    steer();
    rows();
  }

  function steer() {
    const { picture, slider, width } = drawn;
    const under = (event) => { const frame = picture.getBoundingClientRect(); return [((event.clientX - frame.left - LEFT) / (width - LEFT - RIGHT)) * 360, ((HEIGHT - BELOW - (event.clientY - frame.top)) / (HEIGHT - BELOW - ABOVE)) * TOP]; };
    picture.addEventListener("pointerdown", (event) => {
      const handle = event.target.closest(".handle");
      if (!handle) return;
      at = [...slider.children].indexOf(handle);
      hold();
      event.preventDefault();
      const move = (moved) => {
        const [azimuth, altitude] = under(moved);
        const low = at === 0 ? 0 : points[at - 1][0] + 1, high = at === points.length - 1 ? 359 : points[at + 1][0] - 1;
        points[at] = [Math.round(Math.max(low, Math.min(high, azimuth))), Math.round(Math.max(0, Math.min(89, altitude)))];
        write(true);
        draw();
      };
      const end = () => { removeEventListener("pointermove", move); removeEventListener("pointerup", end); removeEventListener("pointercancel", end); take(); };
      addEventListener("pointermove", move);
      addEventListener("pointerup", end);
      addEventListener("pointercancel", end);
      draw();
      drawn.slider.focus({ preventScroll: true });
    });
    slider.addEventListener("keydown", (event) => {
      const big = event.shiftKey ? 5 : 1;
      if (event.key === "ArrowLeft") at = Math.max(0, at - 1);
      else if (event.key === "ArrowRight") at = Math.min(points.length - 1, at + 1);
      else if (event.key === "ArrowUp" || event.key === "ArrowDown") { points[at] = [points[at][0], Math.max(0, Math.min(89, Math.round(points[at][1]) + (event.key === "ArrowUp" ? big : -big)))]; write(true); }
      else if (event.key === "Enter") {
        const next = points[at + 1]?.[0] ?? 360, azimuth = Math.round((points[at][0] + next) / 2);
        if (points.some(([own]) => own === azimuth) || azimuth >= 360) return;
        points.splice(at + 1, 0, [azimuth, Math.round(altitudeAt(points, azimuth))]);
        at += 1;
        write(true);
      } else if (event.key === "Delete" && points.length > 1) { points.splice(at, 1); at = Math.max(0, at - 1); write(true); }
      else if (event.key === "Tab") { take(); return; } else return;
      event.preventDefault();
      draw();
    });
    slider.addEventListener("blur", () => take());
  }

  if (points.length === 0) {
    return el("div", {}, el("p", {}, "Nothing stands in the way: the target is photographed from 20° on, or from the height that you write among the quieter words."),
      el("p", {}, button("draw my horizon", () => set([[KEY, [[0, 15], [90, 15], [180, 15], [270, 15]]]]), { class: "act" })));
  }
  requestAnimationFrame(draw);
  return el("div", { class: "horizon" }, reading, place, el("details", { class: "twin" }, el("summary", {}, "the same as a table"), twin),
    el("p", {}, button("a free horizon", () => set([[KEY, null]]), { class: "link" })));
}
