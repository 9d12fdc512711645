// The camera: what it reads, holds and leaks, how that was measured, and which frames would help.

import { $, button, el, svg, table, twin } from "./dom.js";
import { counted, fixed, number, plain, rounded, seconds, united, written } from "./format.js";
import { folder, openNight, refresh } from "./files.js";
import { doubts } from "./answer.js";
import { inWordsOfThePage } from "./labels.js";
import { begin as lookAtMeasuring, onMeasure, state as measuring, stop } from "./measure.js";
import { night, read, set } from "./night.js";
import { reportButton } from "./report.js";
import { go, here } from "./route.js";
import { ask } from "./server.js";

const COLOURS = { R: "red", G: "green", B: "blue" };
const ROWS = [["gain", "gain_e_per_dn", "e⁻/DN"], ["read noise", "read_noise_e", "e⁻"], ["read noise, core of the pixels", "read_noise_core_e", "e⁻"], ["a pixel holds", "saturation_e", "e⁻"], ["pixel response", "prnu_percent", "%"], ["dark signal from pixel to pixel", "dsnu_e", "e⁻"]];
const STEPS = { bias: "bias", flat: "flats", dark: "darks", prepare: "" };

let mode = 0;

/** Value and uncertainty with the digits that the uncertainty allows. */
function estimate(found) {
  if (found === null || found === undefined) return ["–", ""];
  const { value, uncertainty } = found;
  if (!(uncertainty > 0)) return [rounded(value, 4), "–"];
  const places = Math.max(0, Math.min(8, 1 - Math.floor(Math.log10(uncertainty))));
  return [fixed(value, places), fixed(uncertainty, places)];
}

/** The two greens are one where they do not differ by more than their uncertainty. */
function planesOf(own) {
  const greens = own.planes.filter((plane) => plane.colour === "G");
  const alike = greens.length === 2 && Math.abs(greens[0].read_noise_e.value - greens[1].read_noise_e.value) <= Math.hypot(greens[0].read_noise_e.uncertainty, greens[1].read_noise_e.uncertainty);
  return own.planes.map((plane, j) => ({ plane, j })).filter(({ plane }) => !alike || plane !== greens[1]).map((one) => ({ ...one, name: own.planes.length === 1 ? "value" : alike || one.plane.colour !== "G" ? COLOURS[one.plane.colour] ?? one.plane.plane : `green ${one.plane.plane}` }));
}

function numbers(own, at) {
  const planes = planesOf(own), one = planes.length === 1;
  const cell = ({ plane, j }, key) => { const [value, plus] = estimate(plane[key]); return plane[key] ? [number(plane[key].value, `${at}/planes/${j}/${key}/value`, value, "camera"), plus] : ["–", ""]; };
  const darks = (plane) => (plane.dark_current ?? []);
  const temperatures = [...new Set(planes.flatMap(({ plane }) => darks(plane).map((dark) => dark.sensor_c)))].sort((a, b) => a - b);
  const rows = ROWS.filter(([, key]) => planes.some(({ plane }) => plane[key])).map(([label, key, unit]) => {
    const cells = planes.map((plane) => cell(plane, key));
    return one ? [label, cells[0][0], cells[0][1], unit] : [`${label}, ${unit}`, ...cells.map(([value, plus]) => el("span", {}, value, plus ? el("span", { class: "quiet small" }, ` ± ${plus}`) : ""))];
  });
  for (const celsius of temperatures) {
    const cells = planes.map(({ plane, j }) => { const k = darks(plane).findIndex((dark) => dark.sensor_c === celsius); if (k < 0) return ["–", ""]; const [value, plus] = estimate(plane.dark_current[k].e_per_s); return [number(plane.dark_current[k].e_per_s.value, `${at}/planes/${j}/dark_current/${k}/e_per_s/value`, value, "camera"), plus]; });
    const label = `dark current at ${united(fixed(celsius), "°C")}`;
    rows.push(one ? [label, cells[0][0], cells[0][1], "e⁻/s"] : [`${label}, e⁻/s`, ...cells.map(([value, plus]) => el("span", {}, value, plus ? el("span", { class: "quiet small" }, ` ± ${plus}`) : ""))]);
  }
  return table(one ? ["", "value", "±", "unit"] : ["", ...planes.map(({ name }) => name)], rows, null, { class: "noise numbers" });
}

/** Decades that hold some numbers, as powers of ten. */
const decades = (values) => [Math.floor(Math.log10(Math.min(...values))), Math.ceil(Math.log10(Math.max(...values)))];

const charts = new Map();
/**
 * A figure of points that are read one by one. `axes` draws what stands about them into a frame with the ways from values to
 * places; `at` says where a point stands, `mark` how it looks, `say` its words in pairs, `away` how far it is from a pointer.
 */
function chart({ id, slider: label, heading, points, height, left, axes, at, mark, say, after = () => "", away, first, columns, rows }) {
  const box = el("div", { class: "picture-box profile-plot" }), reading = el("p", { class: "reading" });
  const draw = () => {
    const width = Math.round(box.clientWidth), right = 14, top = 10, below = 44;
    if (width < 60) return;
    const marks = svg("g", { "aria-hidden": "true" });
    const ways = axes(marks, { width, height, left, right, top, below });
    for (const point of points) marks.append(...mark(point, ways));
    const ring = svg("circle", { r: 8, class: "ring" });
    const slider = svg("g", { role: "slider", tabindex: 0, class: "reader", id: `${id}-slider`, "aria-label": label, "aria-valuemin": 1, "aria-valuemax": points.length }, svg("rect", { x: left, y: 0, width: width - left - right, height, class: "reach" }), ring);
    let now = 0;
    const go = (to) => {
      now = Math.max(0, Math.min(points.length - 1, to));
      const [x, y] = at(points[now], ways), parts = say(points[now], now), last = after(points[now]);
      ring.setAttribute("cx", x); ring.setAttribute("cy", y);
      reading.replaceChildren(...parts.flatMap(([name, words]) => [`${name} `, el("strong", {}, words), " "]), last);
      slider.setAttribute("aria-valuenow", now + 1);
      slider.setAttribute("aria-valuetext", `${parts.map((part) => part.join(" ")).join(", ")}${last ? `, ${last}` : ""}`);
    };
    slider.addEventListener("keydown", (event) => { const to = { ArrowLeft: now - 1, ArrowRight: now + 1, Home: 0, End: points.length - 1 }[event.key]; if (to !== undefined) { event.preventDefault(); go(to); } });
    const picture = svg("svg", { viewBox: `0 0 ${width} ${height}`, width, height, class: "picture", role: "group", "aria-labelledby": `${id}-h` }, marks, slider);
    picture.addEventListener("pointermove", (event) => {
      const frame = picture.getBoundingClientRect(), hand = [event.clientX - frame.left, event.clientY - frame.top];
      const far = (point) => away(at(point, ways), hand);
      go(points.reduce((best, point, i) => (far(point) < far(points[best]) ? i : best), 0));
    });
    box.replaceChildren(picture);
    go(first);
  };
  charts.get(id)?.disconnect();
  charts.set(id, new ResizeObserver(draw));
  charts.get(id).observe(box);
  const own = twin(id, () => table(columns, rows));
  own.fill();
  return el("section", { class: "figure-place" }, el("h2", { id: `${id}-h` }, heading), reading, box, own.box);
}

/** Level lines of a logarithmic axis; the way from a value to its place. */
function logarithmic(marks, values, { width, height, left, right, top, below }, words) {
  const [low, high] = decades(values);
  const y = (value) => height - below - ((Math.log10(Math.min(Math.max(value, 10 ** low), 10 ** high)) - low) / Math.max(1, high - low)) * (height - below - top);
  for (let power = low; power <= high; power += 1) marks.append(svg("path", { d: `M${left} ${y(10 ** power)}H${width - right}`, class: "rule" }), svg("text", { x: left - 7, y: y(10 ** power) + 4, class: "tick end" }, words(10 ** power)));
  return y;
}
const names = (marks, { width, height, right }, across, up) => marks.append(svg("text", { x: width - right, y: height - 4, class: "name end" }, across), svg("text", { x: 0, y: height - 4, class: "name" }, `↑ ${up}`));
const planeWords = (own, name) => (own.planes.length > 1 ? [["plane", plain(name)]] : []);

function transferChart(own) {
  const points = (own.photon_transfer ?? []).filter((point) => point.mean_dn > 0 && point.variance_dn2 > 0);
  if (points.length < 3) return null;
  return chart({
    id: "transfer", slider: "pairs of flats", heading: "Variance against signal", points, height: 320, left: 56, first: Math.floor(points.length / 2),
    axes: (marks, frame) => {
      const { width, height, left, right, top, below } = frame, [x0, x1] = decades(points.map((point) => point.mean_dn));
      const x = (value) => left + ((Math.log10(value) - x0) / Math.max(1, x1 - x0)) * (width - left - right);
      for (let power = x0; power <= x1; power += 1) marks.append(svg("path", { d: `M${x(10 ** power)} ${top}V${height - below}`, class: "rule" }), svg("text", { x: x(10 ** power), y: height - below + 18, class: `tick ${power === x1 ? "end" : "middle"}` }, fixed(10 ** power)));
      const y = logarithmic(marks, points.map((point) => point.variance_dn2), frame, fixed);
      names(marks, frame, "signal, DN", "variance, DN²");
      return { x, y };
    },
    at: (point, { x, y }) => [x(point.mean_dn), y(point.variance_dn2)],
    mark: (point, { x, y }) => [point.used ? svg("circle", { cx: x(point.mean_dn), cy: y(point.variance_dn2), r: 4, class: "dot" }) : svg("path", { d: `M${x(point.mean_dn) - 4} ${y(point.variance_dn2) - 4}l8 8m0 -8l-8 8`, class: "likely" })],
    say: (point, i) => [["pair", `${i + 1} of ${points.length}`], ["signal", `${rounded(point.mean_dn, 4)} DN`], ["variance", `${rounded(point.variance_dn2, 4)} DN²`], ...planeWords(own, point.plane)],
    after: (point) => (point.used ? "" : "left out"),
    away: ([x], [hand]) => Math.abs(x - hand),
    columns: ["signal, DN", "variance, DN²", ""], rows: points.map((point) => [rounded(point.mean_dn, 5), rounded(point.variance_dn2, 4), point.used ? "" : "left out"]),
  });
}

function darkChart(own) {
  const points = planesOf(own).flatMap(({ plane: one }) => (one.dark_current ?? []).map((dark) => ({ of: one.plane, ...dark }))).filter(({ e_per_s: rate }) => rate && rate.value > 0).sort((a, b) => a.sensor_c - b.sensor_c);
  const degrees = [...new Set(points.map(({ sensor_c: celsius }) => celsius))];
  if (degrees.length < 2) return null;
  const ends = ({ e_per_s: rate }) => rate.interval_95 ?? [rate.value - 1.96 * rate.uncertainty, rate.value + 1.96 * rate.uncertainty];
  return chart({
    id: "dark", slider: "dark current by temperature", heading: "Dark current against temperature", points, height: 260, left: 64, first: points.length - 1,
    axes: (marks, frame) => {
      const { width, height, left, right, below } = frame, room = Math.max(1, 0.08 * (degrees.at(-1) - degrees[0])), [x0, x1] = [degrees[0] - room, degrees.at(-1) + room];
      const x = (celsius) => left + ((celsius - x0) / (x1 - x0)) * (width - left - right);
      const y = logarithmic(marks, points.map(({ e_per_s: rate }) => rate.value), frame, written);
      degrees.filter((celsius, i) => i === 0 || x(celsius) - x(degrees[i - 1]) > 34).forEach((celsius) => marks.append(svg("text", { x: x(celsius), y: height - below + 18, class: "tick middle" }, fixed(celsius))));
      marks.append(svg("path", { d: `M${left} ${height - below}H${width - right}`, class: "axis" }));
      names(marks, frame, "sensor, °C", "dark current, e⁻/s");
      return { x, y };
    },
    at: (point, { x, y }) => [x(point.sensor_c), y(point.e_per_s.value)],
    mark: (point, { x, y }) => { const [low, high] = ends(point), at = x(point.sensor_c); return [svg("path", { d: `M${at} ${y(low)}V${y(high)}`, class: "likely" }), svg("circle", { cx: at, cy: y(point.e_per_s.value), r: 4, class: "dot" })]; },
    say: (point) => { const [value, plus] = estimate(point.e_per_s); return [["sensor at", united(fixed(point.sensor_c, 1), "°C")], ["dark current", `${value} ± ${plus} e⁻/s`], ...planeWords(own, point.of)]; },
    away: ([x, y], [handX, handY]) => Math.hypot(x - handX, y - handY),
    columns: ["sensor, °C", "dark current, e⁻/s", "±"], rows: points.map((one) => [fixed(one.sensor_c, 1), ...estimate(one.e_per_s)]),
  });
}

/** What stands of a camera: finding, sentence, numbers, plot, doubts. */
function camera(document, acts) {
  mode = Math.min(mode, document.modes.length - 1);
  const own = document.modes[mode], at = `modes/${mode}`;
  const plane = own.planes[0], name = plain(document.camera);
  const planes = planesOf(own);
  const noise = planes.map(({ plane: one }) => one.read_noise_e.value);
  const dark = (plane.dark_current ?? []).find((one) => one.sensor_c === own.reference_sensor_c) ?? plane.dark_current?.[0];
  const gains = document.modes.length > 1 ? document.modes.map((one, i) => button(one.gain_setting === null ? `setting ${i + 1}` : written(one.gain_setting), () => { mode = i; show(); }, { class: "choice", "aria-pressed": String(i === mode) })) : null;
  const range = noise.length > 1 && Math.max(...noise) - Math.min(...noise) > 0.005 * noise[0] ? `${rounded(Math.min(...noise), 3)} to ${rounded(Math.max(...noise), 3)}` : rounded(noise[0], 3);
  const sentence = el("p", {}, gains ? ["At gain ", ...gains.flatMap((one) => [one, " "])] : own.gain_setting === null ? "" : ["At gain ", el("strong", {}, written(own.gain_setting)), " "],
    "one step is ", el("strong", {}, rounded(plane.gain_e_per_dn.value, 3)), "\u00a0e⁻; a pixel holds ", el("strong", {}, fixed(plane.saturation_e.value, plane.saturation_e.value < 100 ? 1 : 0)), "\u00a0e⁻", { adc: " before the converter ends", pixel: " before it is full" }[plane.saturation_cause] ?? "",
    dark ? ["; its dark current at ", united(fixed(dark.sensor_c), "°C"), " is ", el("strong", {}, rounded(dark.e_per_s.value, 2)), "\u00a0e⁻/s"] : "", ".");
  const frames = own.frames ? el("p", { class: "quiet small" }, `From ${counted(own.frames.bias ?? 0, "bias frame")}, ${counted(own.frames.flat ?? 0, "flat")} and ${counted(own.frames.dark ?? 0, "dark")}. EMVA 1288 style, and its quantum efficiency is never measured.`) : el("p", { class: "quiet small" }, `From ${plain(document.source ?? "a data sheet")}.`);
  const list = el("ul", { id: "camera-doubts" });
  doubts(document.caveats ?? [], list);
  return [el("h1", { tabindex: -1 }, `${name} reads a pixel with ${range} electrons of noise`), el("div", { class: "two" },
    el("div", {}, sentence, numbers(own, at), frames, el("div", { class: "acts" }, ...acts)),
    el("div", {}, transferChart(own), darkChart(own), (document.caveats ?? []).length > 0 ? [el("h2", {}, "Doubts"), list] : null))];
}

/** The list by kinds: how many frames of each are there and how many are still to take, and what they buy. */
function totals(list, found) {
  const rows = new Map();
  for (const step of list.steps.filter(({ count }) => count > 0)) {
    const where = step.sensor_c === null ? (step.place ? ` in ${plain(step.place)}` : "") : ` at ${united(fixed(step.sensor_c), "°C")}`;
    // The profile counts the frames of a kind, not those of each temperature.
    const name = step.kind === "flat" ? "flats, in pairs" : found ? STEPS[step.kind] : `${STEPS[step.kind]}${where}`;
    const own = rows.get(name) ?? { count: 0, at: new Set(), buys: { bias: "read noise", flat: "gain, and what a pixel holds", dark: "dark current" }[step.kind] };
    own.count += step.count;
    if (found && step.kind !== "flat" && step.sensor_c !== null) own.at.add(step.sensor_c);
    rows.set(name, own);
  }
  const left = { bias: found?.bias ?? 0, flats: found?.flat ?? 0, darks: found?.dark ?? 0 };
  return [...rows].map(([name, { count, buys, at }]) => {
    const kind = Object.keys(left).find((own) => name.startsWith(own)), there = Math.min(count, left[kind] ?? 0);
    if (kind) left[kind] -= there;
    const shown = Math.min(count, 30), full = Math.round((shown * there) / count);
    return [at.size > 0 ? `${name} at ${united([...at].sort((a, b) => a - b).map((celsius) => fixed(celsius)).join(", "), "°C")}` : name, el("span", {}, el("span", { class: "squares", "aria-hidden": "true" }, "■".repeat(full) + "□".repeat(shown - full)), there > 0 ? ` ${there} of ${count} found` : ` ${count}`), there >= count ? "" : buys];
  });
}

/** The frames to take, from the list of the program. */
async function checklist(found = null) {
  const place = el("section", { id: "which-frames" }, el("h2", {}, found ? "Frames found, and frames that would help" : "Frames that would help"), el("p", {}, "…"));
  const fill = (lists, kind) => {
    const list = lists[kind];
    place.replaceChildren(el("h2", {}, found ? "Frames found, and frames that would help" : "Frames that would help"), el("p", { class: "acts" }, ...[["cooled", "a cooled camera"], ["uncooled", "without cooler"], ["quick", "in a hurry"]].map(([own, words]) => button(words, () => fill(lists, own), { class: "choice", "aria-pressed": String(own === kind) }))),
      el("ul", { class: "cautions" }, ...list.cautions.map((caution) => el("li", {}, el("strong", {}, plain(caution))))),
      table(["kind", found ? "found, of those to take" : "to take", "what it buys"], totals(list, found), null, { class: "cards totals" }),
      el("details", {}, el("summary", {}, "step by step, in order"), el("ol", { class: "steps" }, ...list.steps.map((step) => el("li", {}, step.count > 0 ? el("strong", {}, `${step.count} ${STEPS[step.kind]}`, step.exposure_s === null ? "" : ` of ${seconds(step.exposure_s)}`, step.sensor_c === null ? "" : ` at ${united(fixed(step.sensor_c), "°C")}`, step.place ? ` in ${plain(step.place)}` : "", step.of_saturation_time === null ? "" : `, ${fixed(100 * step.of_saturation_time)} % of the time that saturates`, ". ") : "", inWordsOfThePage(step.note).replace(/subwell (frames|measure) DIR/g, "this page"))))),
      el("p", { class: "quiet small" }, `About ${fixed(list.minutes)} minutes for one gain setting. They cannot tell: ${list.cannot_tell.map(plain).join("; ")}.`));
  };
  try { fill(await ask("GET", "/api/checklist"), "cooled"); } catch (error) { place.replaceChildren(el("p", {}, inWordsOfThePage(error.message))); }
  return place;
}

/** What a camera is called in names of files. */
const nameOf = (profile) => profile.camera.toLowerCase().normalize("NFKD").replace(/[^a-z0-9]+/g, "-").replace(/^-|-$/g, "") || "camera";

/** The profile that was measured is kept under a free name, and the night is told of it. */
async function keep(document) {
  const typed = $("profile-name").value.trim().replace(/(\.(toml|json))?$/i, (ending) => ending || ".toml") || `${nameOf(document)}.toml`;
  const said = $("keep-said");
  try {
    const { path } = await ask("POST", "/api/profile", { path: typed });
    measuring.kept = path;
    await refresh();
    if (folder.nights.length === 0) {
      const first = "my-night.toml";
      await ask("POST", "/api/new", { path: first, camera: false, changes: [{ key: ["camera", "profile"], value: path }] });
      await refresh();
      await openNight(first);
    }
    await show();
    $("keep-said")?.replaceChildren(`Kept as ${plain(path)}. `, button("plan with it", () => { if (read(["camera", "profile"]) !== path) set([[["camera", "profile"], path], [["camera", "gain_setting"], null]]); go("night"); }, { class: "link" }));
  } catch (error) { said.replaceChildren(inWordsOfThePage(error.message), error.hint ? ` ${inWordsOfThePage(error.hint)}` : ""); }
}

function running(document) {
  const { frames, frames_done: done, elapsed_s: elapsed } = document;
  const left = done > 0 && frames > done ? `, about ${seconds(Math.ceil(((frames - done) * elapsed) / done))}` : "";
  return [el("h1", { tabindex: -1 }, `Measuring ${document.folder === "." ? "this folder" : plain(document.folder ?? "")}`),
    el("p", { id: "far", role: "status" }, frames === 0 ? "looking at the frames" : `frame ${done} of ${frames}${left}`), el("p", {}, el("progress", { max: Math.max(1, frames), value: done, "aria-label": "frames measured" })), el("p", {}, button("stop", stop, { class: "act", id: "stop" }))];
}

async function shown(document) {
  const place = $("place-camera");
  if (document.state === "running") {
    if ($("far")) { const fresh = running(document); $("far").replaceChildren(...fresh[1].childNodes); const bar = place.querySelector("progress"); bar.max = Math.max(1, document.frames); bar.value = document.frames_done; } else place.replaceChildren(...running(document));
    return;
  }
  if (document.state === "failed") {
    const error = document.error;
    place.replaceChildren(el("h1", { tabindex: -1 }, "It could not be measured"), el("div", { class: "problem", role: "alert", id: "measure-problem" }, el("p", {}, inWordsOfThePage(error.message)), error.hint ? el("p", { class: "small" }, inWordsOfThePage(error.hint)) : null), el("p", {}, el("a", { href: "#/start" }, "back to the folders")), await checklist());
    return;
  }
  if (document.state === "done") {
    const acts = measuring.kept ? [el("span", { id: "keep-said", role: "status" })] : [el("label", {}, "as ", el("input", { type: "text", id: "profile-name", class: "box", size: 18, value: `${nameOf(document.camera)}.toml`, autocomplete: "off", spellcheck: "false" })), button("keep this profile", () => keep(document.camera), { class: "act main", id: "keep-profile" }), el("span", { id: "keep-said", role: "status" })];
    place.replaceChildren(...camera(document.camera, [...acts, ...reportButton("camera", () => nameOf(document.camera))]), await checklist(document.camera.modes[mode]?.frames));
    return;
  }
  if (night.camera) { place.replaceChildren(...camera(night.camera.profile, reportButton("camera", () => nameOf(night.camera.profile))), await checklist(night.camera.profile.modes[mode]?.frames)); return; }
  place.replaceChildren(el("h1", { tabindex: -1 }, "No camera yet"), el("p", {}, "Frames of it can be measured, or its data sheet typed: ", el("a", { href: "#/start" }, "begin with what you have"), "."), await checklist());
}

export async function show() {
  await shown(measuring.document);
  if (here().word === "frames") $("which-frames")?.scrollIntoView();
  else if (document.activeElement === document.body || document.activeElement === null) $("place-camera").querySelector("h1")?.focus({ preventScroll: true });
}

export function start() {
  onMeasure((document) => { if (here().place === "camera" || document.state !== "running") shown(document); });
  lookAtMeasuring();
}
