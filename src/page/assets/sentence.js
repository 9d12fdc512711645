// The night as a sentence in breaths; its underlined words are the inputs.

import { $, button, el, svg } from "./dom.js";
import { date as dateWords, plain, united, written } from "./format.js";
import { NAMES, filterName } from "./filters.js";
import { differs, draft, effective, inFile, night, range, read, same, set, standard, type } from "./night.js";
import { closeWord, here } from "./route.js";
import { drawerNumber, idOf, list, num, numberNote, problemNote, problems, word } from "./words.js";
import { calendar } from "./calendar.js";
import { BRIGHTNESS, PLACE, byItsName, objectOf, search } from "./target.js";
import { horizon } from "./horizon.js";
import { folder, profilesFromHere } from "./files.js";
import { ask } from "./server.js";

const SCALES = { bortle: ["Bortle class", ""], mag_per_arcsec2: ["brightness", "mag/arcsec²"], limiting_mag: ["faintest star", "mag"] };
const LAMPS = [["mixed", "mixed lamps"], ["led-3000", "warm white LEDs"], ["led-4000", "neutral white LEDs"], ["sodium", "sodium lamps"]];
const PICTURES = { "first-look": ["a first look", "signal to noise 5 in 20″: it is seen for certain"], clean: ["clean", "signal to noise 10 in 10″: noise that does not disturb"], deep: ["deep", "signal to noise 40 in 20″: smooth, and parts an eighth as bright are seen"] };
const SNR = { "first-look": 5, clean: 10, deep: 40 };
const PATCH = { "first-look": 20, clean: 10, deep: 20 };
const USUAL_WIDTH = { "h-alpha": 6, oiii: 6, sii: 6 };

/** What opens for the word that is open, by its id. */
const drawers = new Map();
/** Numbers that can be open, by their id. */
const numbers = new Map();
/** What is said under a breath. */
let notes = [];

function number(key, label, more = {}) {
  const own = { id: idOf(key), key, label, ...more };
  numbers.set(own.id, own);
  return num(key, label, more);
}

function opens(own, drawer) {
  drawers.set(own.id, drawer);
  return word({ ...own, open: true });
}

const choice = (key, label, options, value, choose, more = {}) => opens({
  id: idOf(key), key, label, shown: options.find(([own]) => same(own, value))?.[1] ?? plain(value ?? "–"), ...more,
}, () => list({ label }, options, value, (chosen) => { choose ? choose(chosen) : set([[key, chosen]]); closeWord(); }));

// On

function onEvening() {
  const own = read(["goal", "date"]);
  const date = opens({ id: "goal.date", key: ["goal", "date"], label: "evening", shown: own ? dateWords(own) : "+ an evening" }, calendar);
  if (own && (read(["site", "latitude_deg"]) === null || read(["site", "longitude_deg"]) === null)) notes.push(["on", "The Moon and the hours are followed once the place is known: it stands below, at “under”."]);
  return own ? ["the evening of ", date] : ["any moonless night, or ", date];
}

// I want

const some = (keys) => keys.some((key) => read(key) !== null);


function named() {
  const name = read(["target", "name"]);
  const object = name ? objectOf(name) : null;
  const typed = some(BRIGHTNESS), placed = some(PLACE);
  if (!object || (!typed && !placed && read(["target", "altitude_deg"]) === null)) return object;
  const what = [typed ? "brightness" : "", placed ? "place" : "", read(["target", "altitude_deg"]) !== null && !placed ? "altitude" : ""].filter((one) => one !== "");
  const wins = what.length > 1 ? `${what.slice(0, -1).join(", ")} and ${what.at(-1)}` : what[0];
  notes.push(["want", `${object.names[0]} is known, and the ${wins} that you wrote ${what.length > 1 ? "win" : "wins"} over what is known of it.`,
    ["let the name take over", () => set(byItsName(object.names[0]))]]);
  return object;
}

function want() {
  const object = named();
  const name = read(["target", "name"]);
  const target = opens({ id: "target.name", keys: [["target", "name"], ...PLACE], key: ["target", "name"], label: "target", shown: name ? plain(name) : some(PLACE) ? placeWords() : "something" }, search);
  const typed = some(BRIGHTNESS), placed = some(PLACE) || (object && read(["target", "altitude_deg"]) === null);
  const surface = { unit: "mag/arcsec²", none: "–", value: read(["target", "surface_brightness_mag"]) ?? (!typed || read(["target", "line_rayleigh"]) !== null ? tidy(object?.surface_brightness_mag) : null) };
  const line = { unit: "rayleigh", none: "0", value: read(["target", "line_rayleigh"]) ?? (typed ? null : tidy(object?.line_rayleigh, 0)) };
  const parts = [target, " of ", number(["target", "surface_brightness_mag"], "brightness of the target", surface)];
  if (line.value !== null || !object) parts.push(" and ", number(["target", "line_rayleigh"], "brightness of its lines", line), " in its lines");
  if (!placed) parts.push(", ", number(["target", "altitude_deg"], "altitude of the target", { unit: "°" }), " high");
  return [...parts, ","];
}
const tidy = (value, decimals = 1) => (value === null || value === undefined ? null : Number(value.toFixed(decimals)));
function placeWords() {
  const [ra, dec] = [["ra", "ra_h", "ra_deg"], ["dec", "dec_deg"]].map((names) => names.map((name) => [name, read(["target", name])]).find(([, value]) => value !== null));
  return [ra && (ra[0] === "ra_h" ? united(written(ra[1]), "h") : ra[0] === "ra_deg" ? `${written(ra[1])}°` : plain(ra[1])), dec && (dec[0] === "dec_deg" ? `${written(dec[1])}°` : plain(dec[1]))].filter(Boolean).join(" ");
}

// through

function filterWords(filter) {
  const name = filter.name === null || filter.name === undefined ? `about ${written(filter.centre_nm ?? 0)} nm` : filterName(filter.name);
  const width = filter.width_nm ?? null;
  return width === null ? name : `${name} ${united(written(width), "nm")}`;
}

function through() {
  const filters = read(["filters"]) ?? [];
  const parts = [];
  filters.forEach((filter, i) => {
    const was = inFile(["filters", i]);
    if (i > 0) parts.push(i === filters.length - 1 ? " and " : " ");
    parts.push(opens({ id: `filters.${i}`, key: ["filters", i], given: true, label: `filter ${i + 1}`, shown: filterWords(filter), keys: [["filters", i]] }, () => filterDrawer(filter, i, was)));
  });
  const add = opens({ id: "filters", key: ["filters"], keys: [["filters-none"]], label: "another filter", shown: filters.length === 0 ? "whatever suits the camera" : "+ a filter" }, () =>
    list({ label: "another filter" }, NAMES.filter((name) => !filters.some((filter) => filter.name === name)).map((name) => [name, filterName(name)]), null, (name) => { set([[["filters"], [...filters, { name }]]]); closeWord(); }));
  return [...parts, filters.length > 0 ? " " : "", add, ","];
}

function filterDrawer(filter, i) {
  const filters = read(["filters"]);
  const options = NAMES.filter((name) => name === filter.name || !filters.some((other) => other.name === name)).map((name) => [name, filterName(name)]);
  if (!NAMES.includes(filter.name)) options.unshift([filter.name ?? null, filterWords(filter)]);
  const rename = (name) => {
    const kept = Object.fromEntries(Object.entries(filter).filter(([key]) => !["name", "centre_nm", "width_nm", "curve", "transmission"].includes(key)));
    set([[["filters", i], { ...kept, name }]]);
    closeWord();
  };
  const key = (name) => ["filters", i, name];
  const field = (name, label, more) => drawerNumber({ id: `filters.${i}.${name}`, key: key(name), label, value: filter[name], ...more });
  const efficiency = filter.quantum_efficiency;
  const counts = efficiency && typeof efficiency === "object"
    ? Object.keys(efficiency).map((colour) => drawerNumber({ id: `filters.${i}.quantum_efficiency.${colour}`, key: ["filters", i, "quantum_efficiency", colour], label: `share of ${colour} light that the sensor counts`, before: colour, value: efficiency[colour], range: range(key("quantum_efficiency")) }))
    : [field("quantum_efficiency", "share of its light that the sensor counts", { none: "usual" })];
  return el("div", {}, list({ label: `filter ${i + 1}` }, options, filter.name ?? null, rename),
    el("p", { class: "fields" }, "It is ", field("width_nm", "width of the filter", { unit: "nm", none: USUAL_WIDTH[filter.name] ? String(USUAL_WIDTH[filter.name]) : "its own" }), " wide; of its light the sensor counts ", ...counts,
      "; its own signal to noise is ", field("snr", "signal to noise of this filter", { none: "the goal’s" }), "."),
    filters.length > 1 ? el("p", {}, button("leave it out", () => { set([[["filters"], filters.filter((_, j) => j !== i)]]); closeWord(); })) : null);
}

// until

/** A lane in noise, one dot for each square of the goal: the same noise in each strip. Made up, and said to be. */
function strip(snr) {
  const wide = 72, high = 14, levels = Array.from({ length: 9 }, () => "");
  let seed = 7;
  const chance = () => { seed = (seed * 1_664_525 + 1_013_904_223) >>> 0; return seed / 2 ** 32; };
  const noise = () => Math.sqrt(-2 * Math.log(1 - chance())) * Math.cos(2 * Math.PI * chance());
  for (let y = 0; y < high; y += 1) {
    for (let x = 0; x < wide; x += 1) {
      const off = (y + 0.5 - high / 2 - 3 * Math.sin(x / 11)) / 1.6;
      const shown = (noise() + snr * Math.exp(-off * off) + 3) / (6 + snr);
      levels[Math.max(0, Math.min(8, Math.round(8 * shown)))] += `M${x} ${y}h1v1h-1z`;
    }
  }
  return svg("svg", { viewBox: `0 0 ${wide} ${high}`, class: "noise-strip", "aria-hidden": "true" }, ...levels.map((d, i) => svg("path", { d, "fill-opacity": i / 8 })));
}

const strips = (snrs) => el("div", { class: "strips" }, ...snrs.map(([name, snr]) => el("figure", {}, el("figcaption", {}, name, el("span", { class: "quiet" }, ` SNR ${written(snr)}`)), strip(snr))),
  el("p", { class: "small quiet" }, "Simulated: a lane as bright as the goal asks, a dot for each square, the same noise in each."));

function until() {
  const picture = read(["goal", "picture"]), hours = read(["goal", "hours"]);
  const kind = hours !== null ? "hours" : picture ?? "snr";
  const options = [...Object.entries(PICTURES).map(([name, [words, quiet]]) => [name, words, quiet]), ["snr", "a signal to noise of my own", ""], ["hours", "so many hours are over", "what do they bring?"]];
  const choose = (chosen) => {
    const goal = (name, value) => [["goal", name], value];
    const snr = read(["goal", "snr"]) ?? SNR[picture] ?? standard(["goal", "snr"]);
    if (chosen === "hours") set([goal("hours", 4), goal("snr", null), goal("picture", null)]);
    else if (chosen === "snr") set([goal("snr", snr), goal("hours", null), goal("picture", null), ...(picture ? [goal("patch_arcsec", PATCH[picture])] : [])]);
    else set([goal("picture", chosen), goal("snr", null), goal("hours", null), goal("patch_arcsec", null), goal("pixel", null)]);
    closeWord();
  };
  const words = { hours: "so many hours are over", snr: "it has" };
  const what = opens({ id: "goal", key: ["goal", "picture"], keys: [["goal", "picture"], ["goal", "hours"]], given: true, label: "what is wanted", shown: words[kind] ?? `it is ${PICTURES[kind][0]}` }, () => el("div", {}, list({ label: "what is wanted" }, options, kind, choose),
    strips([...Object.keys(PICTURES).map((name) => [PICTURES[name][0], SNR[name]]), ...(kind === "snr" && !Object.values(SNR).includes(read(["goal", "snr"])) ? [["your own", effective(["goal", "snr"])]] : [])])));
  if (kind === "hours") return [what, ": ", number(["goal", "hours"], "hours on the clock", { unit: "h", required: true }), ","];
  const snrMore = { required: true, help: "A clean picture has 10." };
  const patchMore = { unit: "″" };
  if (picture) {
    // A number of one's own takes the place of the picture.
    const own = (changed) => (value) => {
      type(["goal", "picture"], null);
      type(["goal", "snr"], changed === "snr" ? value : SNR[picture]);
      type(["goal", "patch_arcsec"], changed === "patch" ? value : PATCH[picture]);
    };
    Object.assign(snrMore, { value: SNR[picture], write: own("snr") });
    Object.assign(patchMore, { value: PATCH[picture], write: own("patch") });
  }
  const patch = read(["goal", "pixel"]) === true ? [" in a single pixel,"] : [" in a square of ", number(["goal", "patch_arcsec"], "side of the square", patchMore), " a side,"];
  return [what, picture ? ": signal to noise " : " a signal to noise of ", number(["goal", "snr"], "signal to noise", snrMore), ...patch];
}

// under

function sky() {
  const given = effective(["site", "sky"]) ?? { bortle: 6 };
  const kind = ["e_per_s", ...Object.keys(SCALES)].find((name) => (given[name] ?? null) !== null) ?? "bortle";
  const scale = opens({ id: "site.sky", key: ["site", "sky"], label: "scale of the sky", shown: kind === "e_per_s" ? "as measured on my frames" : SCALES[kind][0] }, () => skyDrawer(given, kind));
  if (kind === "e_per_s") return ["a sky ", scale];
  const seen = (given.altitude_deg ?? null) === null ? {} : { altitude_deg: given.altitude_deg };
  const own = { id: "site.sky.value", key: ["site", "sky"], range: range(["site", "sky", kind]), value: given[kind], unit: SCALES[kind][1], whole: kind === "bortle", required: true, write: (value) => type(["site", "sky"], { [kind]: value, ...seen }) };
  numbers.set(own.id, { ...own, key: null, label: SCALES[kind][0] });
  return ["a sky of ", scale, " ", num(["site", "sky"], SCALES[kind][0], own), "altitude_deg" in seen ? ` seen ${written(seen.altitude_deg)}° high` : ""];
}

function skyDrawer(given, kind) {
  const rows = el("ul", { class: "scales" });
  const said = el("p", { class: "note", role: "status" }, "");
  if (kind === "e_per_s") return el("p", { class: "note" }, "It was measured in electrons on your own frames, and holds for this telescope and camera alone.");
  ask("POST", "/api/sky", { [kind]: given[kind] }).then((three) => {
    const value = (name) => (name === kind ? given[kind] : three[name]);
    rows.replaceChildren(...Object.entries(SCALES).map(([name, [words, unit]]) => el("li", {},
      el("span", { class: "name" }, words), el("span", { class: name === kind ? "value own" : "value", "data-scale": name }, united(written(value(name)), unit)),
      name === kind ? el("span", { class: "quiet" }, "the one you write in")
        : button("write it in this scale", () => { set([[["site", "sky"], { [name]: three[name] }]]); closeWord(); }, { class: "link", "data-to": name }))));
    said.replaceChildren(`${words(kind, given[kind])} = ${kind === "mag_per_arcsec2" ? words("bortle", three.bortle) : united(written(three.mag_per_arcsec2), "mag/arcsec²")}.`, kind === "bortle" ? " A class spans almost a magnitude: a reading of your own sky is worth more." : "");
  }).catch((error) => said.replaceChildren(plain(error.message)));
  return el("div", {}, rows, said);
}
const words = (kind, value) => (kind === "bortle" ? `Bortle ${written(value)}` : `${SCALES[kind][0]} ${united(written(value), SCALES[kind][1])}`);

const compass = (value, [plus, less]) => `${Math.abs(value).toFixed(2)}° ${value < 0 ? less : plus}`;

function under() {
  const [latitude, longitude] = [read(["site", "latitude_deg"]), read(["site", "longitude_deg"])];
  const keys = [["site", "latitude_deg"], ["site", "longitude_deg"]];
  const place = opens({ id: "site.place", keys, label: "place", shown: latitude === null || longitude === null ? "+ a place" : `${compass(latitude, "NS")}, ${compass(longitude, "EW")}` }, () =>
    el("p", { class: "fields" }, "It lies at latitude ", drawerNumber({ id: "site.latitude_deg", key: keys[0], label: "latitude, north positive", value: latitude, unit: "°" }), " (north positive) and longitude ", drawerNumber({ id: "site.longitude_deg", key: keys[1], label: "longitude, east positive", value: longitude, unit: "°" }),
      " (east positive); its clocks are ", drawerNumber({ id: "site.utc_offset_h", key: ["site", "utc_offset_h"], label: "hours ahead of universal time", value: read(["site", "utc_offset_h"]), unit: "h", none: "by longitude" }), " ahead of universal time."));
  const trees = read(["site", "horizon"]);
  const horizonWord = opens({ id: "site.horizon", key: ["site", "horizon"], label: "horizon", shown: trees ? "my horizon" : "a free horizon" }, horizon);
  const lamps = effective(["site", "lamps"]) ?? "mixed";
  return [...sky(), " lit by ", choice(["site", "lamps"], "what lights the sky", LAMPS, lamps), latitude === null ? " at " : " at ", place, " with ", horizonWord, ","];
}

// with

export async function readCamera() {
  const profile = read(["camera", "profile"]);
  night.camera = profile ? await ask("POST", "/api/camera", { at: night.path, profile }).catch(() => null) : null;
}

/** Another camera: its gain is the setting that lies nearest, and what it cannot have is left out. */
async function anotherCamera(profile) {
  const camera = await ask("POST", "/api/camera", { at: night.path, profile }).catch(() => null);
  const pairs = [[["camera", "profile"], profile]], taken = {};
  if (camera) {
    const settings = camera.modes.map((mode) => mode.gain_setting).filter((gain) => gain !== null);
    const gain = read(["camera", "gain_setting"]);
    if (gain !== null && !settings.includes(gain)) {
      const nearest = settings.length === 0 ? null : settings.reduce((best, own) => (Math.abs(Math.log(own / gain)) < Math.abs(Math.log(best / gain)) ? own : best));
      pairs.push([["camera", "gain_setting"], nearest]);
      taken["camera.gain_setting"] = nearest === null ? `${written(gain)} is not among its settings; the only one is taken.` : `${written(gain)} is not among its settings; ${written(nearest)} is taken.`;
    }
    if (read(["camera", "mode"]) !== null) pairs.push([["camera", "mode"], null]);
    const colour = camera.profile.modes.some((mode) => mode.planes.length > 1);
    (read(["filters"]) ?? []).forEach((filter, i) => {
      const many = filter.quantum_efficiency !== null && typeof filter.quantum_efficiency === "object";
      if (filter.quantum_efficiency !== null && filter.quantum_efficiency !== undefined && many !== colour) {
        pairs.push([["filters", i, "quantum_efficiency"], null]);
        taken["camera.profile"] = "How much light its sensor counts is another matter: the usual is taken for each filter.";
      }
    });
  }
  set(pairs, taken);
  await readCamera();
  closeWord();
}

function withCamera() {
  const own = read(["camera", "profile"]) ?? null;
  const known = profilesFromHere();
  const nameOf = (path) => folder.cameras?.[path] ?? null;
  const options = (known.includes(own) || own === null ? known : [...known, own]).map((path) => [path, path === own && night.camera ? plain(night.camera.camera) : nameOf(path) ?? plain(path.replace(/^.*\//, "").replace(/\.(toml|json)$/, "")), plain(path)]);
  const camera = opens({ id: "camera.profile", key: ["camera", "profile"], label: "camera", shown: night.camera ? plain(night.camera.camera) : own ? plain(own) : "a camera" }, () =>
    list({ label: "camera" }, options, own, anotherCamera));
  const gain = read(["camera", "gain_setting"]) ?? null;
  const settings = (night.camera?.modes ?? []).map((mode) => mode.gain_setting).filter((setting) => setting !== null);
  const gains = [[null, "whichever is best"], ...[...new Set(gain === null || settings.includes(gain) ? settings : [...settings, gain])].map((setting) => [setting, written(setting)])];
  const at = settings.length === 0 && gain === null ? [] : [" at gain ", choice(["camera", "gain_setting"], "gain", gains, gain)];
  for (const id of ["camera.gain_setting", "camera.profile"]) if (night.taken[id]) notes.push(["with", night.taken[id]]);
  const sensor = read(["camera", "sensor_c"]);
  const cooled = read(["camera", "cooled"]) ?? sensor !== null;
  const cooling = choice(["camera", "cooled"], "cooling", [[true, "cooled to"], [false, "uncooled, warmer than the air by"]], cooled, (chosen) => set([[["camera", "cooled"], chosen], [["camera", "sensor_c"], null], [["camera", "rise_c"], null]]), { given: true, keys: [["camera", "cooled"]] });
  const temperature = cooled || sensor !== null ? number(["camera", "sensor_c"], "temperature of the sensor", { unit: "°C" }) : number(["camera", "rise_c"], "sensor above the air", { unit: "K" });
  return ["the ", camera, ...at, " ", cooled || sensor === null ? cooling : "brought to", " ", temperature, " behind ", number(["optics", "aperture_mm"], "aperture", { unit: "mm", required: true }), " of aperture and ", number(["optics", "focal_length_mm"], "focal length", { unit: "mm", required: true }), " of focal length,"];
}

// on

function onMount() {
  const guided = effective(["mount", "guided"]) ?? true;
  const fixed = ["sub_s", "dither_every"].filter((name) => read(["goal", name]) !== null);
  const parts = ["a ", choice(["mount", "guided"], "guiding", [[true, "guided"], [false, "unguided"]], guided), " mount that holds ", number(["mount", "longest_sub_s"], "longest sub of the mount", { unit: "s", none: "any length" }), " and settles a dither in ", number(["mount", "settle_s"], "seconds for a dither to settle", { unit: "s" })];
  if (fixed.length === 0) return [...parts, "."];
  return [...parts, ", in subs of ", number(["goal", "sub_s"], "length of a sub, fixed", { unit: "s", none: "the best length" }), " with a dither every ", number(["goal", "dither_every"], "subs between dithers, fixed", { none: "as is best", whole: true }), "."];
}

const QUIETER = [
  ["behind", [["a central obstruction of ", ["optics", "obstruction_mm"], "central obstruction", "mm"], [", ", ["optics", "transmission"], "transmission of the optics", "", " of the light passes it;"]]],
  ["through", [["air of ", ["site", "ambient_c"], "temperature of the air", "°C"], [" that blurs a star to ", ["site", "seeing_arcsec"], "seeing", "″"], [" and takes ", ["site", "extinction_mag"], "extinction", "mag", " in each airmass,"], [" ", ["site", "height_m"], "height of the place", "m", " above the sea;"]]],
  ["never", [["below ", ["target", "min_altitude_deg"], "least altitude", "°"], [", no star burnt that is fainter than ", ["goal", "star_mag_kept"], "stars not to burn: fainter than", "mag", ";"]]],
  ["each", [["night with ", ["goal", "clear_hours_per_night"], "clear hours of a night", "h", " clear,"], [" ", ["goal", "setup_min"], "minutes of set-up", "min", " to set up"], [" and ", ["goal", "refocus_min_per_hour"], "minutes of each hour for refocusing", "min", " in an hour to refocus,"], [" a share of ", ["goal", "clear_share"], "share of nights that are clear", "", " of nights clear,"], [" ", ["goal", "already_have_h"], "hours that are there already", "h", " there already;"]]],
  ["losing", [["", ["mount", "lost_subs_per_hour"], "subs lost in an hour", "", " subs in an hour,"], [" ", ["mount", "between_subs_s"], "seconds between subs", "s", " between two,"], [" with a guiding error of ", ["mount", "guide_rms_arcsec"], "guiding error", "″"], [" and a polar error of ", ["mount", "polar_error_arcmin"], "polar error", "′", ";"]]],
  ["cleaned", [["by ", ["calibration", "darks"], "darks", "", " darks,"], [" ", ["calibration", "flats"], "flats", "", " flats"], [" and ", ["calibration", "biases"], "biases", "", " biases,"], [" darks ", ["calibration", "dark_mismatch_c"], "darks miss the temperature by", "K", " off;"]]],
  ["stacked", [["rejecting at ", ["stack", "clip_sigma"], "rejection", "σ"], [", from ", ["stack", "min_subs"], "least number of subs", "", " subs"], [" and ", ["stack", "min_positions"], "least number of dither positions", "", " positions on,"], [" at most ", ["stack", "most_subs"], "most subs", "", " subs"], [" and ", ["stack", "most_gigabytes"], "most gigabytes", "GB", "."]]],
];
const WHOLE_NUMBERS = ["calibration.darks", "calibration.flats", "calibration.biases", "stack.min_positions"];
const count = QUIETER.reduce((sum, [, words]) => sum + words.length, 0);
let unfolded = false;

function quieterParts(parts) {
  return parts.flatMap(([before, key, label, unit, after]) => [before, number(key, label, { unit, none: key[1] === "star_mag_kept" ? "any" : "–", whole: WHOLE_NUMBERS.includes(idOf(key)) }), after ?? ""]);
}

function breath(name, lead, parts, ids) {
  const open = ids.find((id) => here().word === id);
  const box = el("div", { class: "breath", "data-breath": name }, el("p", { class: "lead" }, lead), el("div", { class: "said" }, el("p", { class: "line" }, ...parts)));
  const said = box.lastElementChild;
  for (const id of ids.filter((own) => problems.has(own))) said.append(problemNote(id));
  for (const [, text, act] of notes.filter(([of]) => of === name)) said.append(el("p", { class: "note" }, text, act ? [" ", button(act[0], act[1], { class: "link" })] : ""));
  if (open && numbers.has(open)) said.append(numberNote(numbers.get(open)));
  if (open && drawers.has(open)) box.append(el("div", { class: "drawer", id: "drawer", role: "group", "aria-label": `${open === "goal" ? "goal" : ""}` || lead }, drawers.get(open)()));
  return box;
}

/** What stops a new answer, told by the program: under the breath of its word. */
let refused = null;
export function setRefused(found) { refused = found; }

let pressed = false, waiting = false;
addEventListener("pointerdown", () => { pressed = true; }, true);
for (const end of ["pointerup", "pointercancel"]) addEventListener(end, () => { pressed = false; setTimeout(() => { if (waiting) draw(); }, 0); }, true);

/** Draws the sentence anew; not under a finger, which would miss the word that it is on. */
export function draw() {
  waiting = pressed;
  if (waiting) return;
  drawers.clear();
  numbers.clear();
  notes = [];
  const made = [];
  const breathOf = (name, lead, make) => {
    const before = new Set([...drawers.keys(), ...numbers.keys()]);
    const parts = make();
    const ids = [...drawers.keys(), ...numbers.keys()].filter((id) => !before.has(id));
    made.push([name, lead, parts, ids]);
  };
  breathOf("on", "On", onEvening);
  breathOf("want", "I want", want);
  breathOf("through", "through", through);
  breathOf("until", "until", until);
  breathOf("under", "under", under);
  breathOf("with", "with", withCamera);
  breathOf("mount", "on", onMount);
  const foldedAway = QUIETER.map(([lead, parts]) => [lead, parts, parts.some(([, key]) => differs(key) || problems.has(idOf(key)) || here().word === idOf(key))]);
  for (const [lead, parts, shown] of foldedAway) if (unfolded || shown) breathOf(`quiet-${lead}`, lead, () => quieterParts(parts));
  const all = made.map(([name, lead, parts, ids]) => {
    const box = breath(name, lead, parts, ids);
    if (refused && (refused.word === null ? name === "until" : ids.includes(refused.word) || (refused.word === "site.sky" && name === "under") || (refused.word === "goal.snr" && name === "until"))) { box.lastElementChild.classList.contains("drawer") ? box.children[1].append(refused.note) : box.lastElementChild.append(refused.note); }
    return box;
  });
  if (refused && !refused.note.parentNode && !all.some((box) => box.contains(refused.note))) all[3].children[1].append(refused.note);
  const key = el("p", { class: "underlines" },
    el("span", {}, el("span", { class: "word given", "aria-hidden": "true" }, "solid"), " you wrote it"), el("span", {}, el("span", { class: "word taken", "aria-hidden": "true" }, "dotted"), " taken for you"), el("span", {}, el("span", { class: "word changed", "aria-hidden": "true" }, "double"), " differs from the file"),
    button(unfolded ? "fewer words" : `${count} quieter words`, () => { unfolded = !unfolded; draw(); document.querySelector("#quieter")?.focus(); }, { class: "link", id: "quieter", "aria-expanded": String(unfolded) }));
  const scroll = window.scrollY, field = document.activeElement?.dataset?.field;
  $("sentence").replaceChildren(...all, key);
  if (window.scrollY !== scroll) window.scrollTo(0, scroll);
  const same = field ? document.querySelector(`[data-field="${CSS.escape(field)}"]`) : null;
  if (same) { same.focus({ preventScroll: true }); same.select(); }
  focusOpen();
}

let focused = null;
/** The word that was opened has the hand; the one that was closed gets it back. */
function focusOpen() {
  const id = here().place === "night" ? here().word : null;
  if (id === focused) { if (id && !document.activeElement?.closest?.("#sentence")) giveFocus(id); return; }
  if (id === null && focused !== null) {
    const back = document.querySelector(`[data-word="${CSS.escape(focused)}"]`);
    if (document.activeElement === document.body || document.activeElement === null) back?.focus({ preventScroll: true });
  }
  focused = id;
  if (id) giveFocus(id);
}
function giveFocus(id) {
  const field = document.querySelector(`input[data-word="${CSS.escape(id)}"]`);
  if (field) { field.focus({ preventScroll: true }); field.select(); return; }
  const first = document.querySelector("#drawer input") ?? document.querySelector("#drawer [tabindex='0']") ?? document.querySelector("#drawer button");
  first?.focus({ preventScroll: true });
}

