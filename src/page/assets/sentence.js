// The night as a sentence whose underlined words are the inputs.

import { $, el, plain } from "./dom.js";
import { night, read, taken, write } from "./night.js";

const FILTERS = ["luminance", "red", "green", "blue", "h-alpha", "oiii", "sii", "dual", "none"];
const SKIES = { bortle: "Bortle class", mag_per_arcsec2: "mag/arcsec²", limiting_mag: "faintest star, mag" };

let changed = () => {};
let rebuilt = () => {};

/** Inputs are as wide as what stands in them, also where the browser does not know how. */
function fit(input) {
  if (CSS.supports("field-sizing", "content")) return;
  input.style.width = `${Math.max(2, (input.value || input.placeholder || "").length) + 1.5}ch`;
}

function numeric(key, label, unit, { nothing, least, most, put = (value) => write(key, value) } = {}) {
  const value = read(key);
  const standard = taken(key);
  const input = el("input", {
    type: "number", step: "any", min: least, max: most, "aria-label": label, "data-key": JSON.stringify(key), autocomplete: "off",
    placeholder: standard === undefined || standard === null ? nothing ?? "?" : String(standard),
    value: value === null || value === undefined ? "" : value,
  });
  fit(input);
  input.addEventListener("input", () => {
    fit(input);
    // A number that is not finished is no change yet.
    if (input.validity.badInput) return;
    put(input.value === "" ? null : input.valueAsNumber);
    changed();
  });
  return el("span", { class: "word" }, input, unit ? `${["°", "″", "′"].includes(unit) ? "" : "\u00a0"}${unit}` : "");
}

function text(key, label, nothing) {
  const input = el("input", { type: "text", "aria-label": label, "data-key": JSON.stringify(key), placeholder: nothing, value: read(key) ?? "", autocomplete: "off", spellcheck: "false", maxlength: 80 });
  fit(input);
  input.addEventListener("input", () => { fit(input); write(key, input.value === "" ? null : input.value); changed(); });
  return el("span", { class: "word" }, input);
}

function date(key, label) {
  const input = el("input", { type: "date", "aria-label": label, "data-key": JSON.stringify(key), value: read(key) ?? "" });
  input.addEventListener("input", () => { write(key, input.value === "" ? null : input.value); changed(); });
  return el("span", { class: "word" }, input);
}

/** A choice of [value, words]; `act` may do more than set the key, then the sentence is made again. */
function choice(key, label, options, value, act) {
  const select = el("select", { "aria-label": label, "data-key": JSON.stringify(key) });
  options.forEach(([own, words], i) => {
    const option = el("option", { value: i }, plain(words));
    option.selected = own === value;
    select.append(option);
  });
  select.addEventListener("change", () => {
    const chosen = options[select.selectedIndex][0];
    if (act) { act(chosen); rebuilt(key); } else write(key, chosen);
    changed();
  });
  return el("span", { class: "word" }, select);
}

function withCurrent(options, value) {
  return value === null || value === undefined || options.some(([own]) => own === value) ? options : [...options, [value, String(value)]];
}

function camera(profiles) {
  const own = read(["camera", "profile"]) ?? null;
  const named = withCurrent(profiles, own);
  const words = (profile) => (profile === own && night.camera ? `${night.camera} (${profile})` : profile);
  const gain = read(["camera", "gain_setting"]) ?? null;
  const gains = withCurrent([[null, "whichever is best"], ...night.gains], gain);
  const cooled = read(["camera", "cooled"]) ?? (read(["camera", "sensor_c"]) ?? null) !== null;
  const parts = ["With the ", choice(["camera", "profile"], "camera profile", named.map(([value, shown]) => [value, value === own ? words(shown) : shown]), own, (chosen) => write(["camera", "profile"], chosen)),
    " at gain ", choice(["camera", "gain_setting"], "gain setting", gains, gain), ", ",
    choice(["camera", "cooled"], "cooling", [[true, "cooled to"], [false, "uncooled, warmer than the air by"]], cooled, (chosen) => {
      write(["camera", "cooled"], chosen);
      write(["camera", "sensor_c"], null);
      write(["camera", "rise_c"], null);
    }), " "];
  if (cooled) parts.push(numeric(["camera", "sensor_c"], "sensor temperature in °C", "°C"));
  else if ((read(["camera", "sensor_c"]) ?? null) !== null) parts.push("whatever brings it to ", numeric(["camera", "sensor_c"], "sensor temperature in °C", "°C"));
  else parts.push(numeric(["camera", "rise_c"], "sensor above the air in kelvins", "K"));
  return [...parts, ", "];
}

function sky() {
  const given = read(["site", "sky"]) ?? taken(["site", "sky"]) ?? { bortle: 6 };
  const kind = ["e_per_s", ...Object.keys(SKIES)].find((name) => (given[name] ?? null) !== null) ?? "bortle";
  const lamps = read(["site", "lamps"]) ?? taken(["site", "lamps"]) ?? "mixed";
  const options = Object.entries(SKIES);
  if (kind === "e_per_s") options.push(["e_per_s", "as measured on my frames"]);
  const starts = { bortle: 6, mag_per_arcsec2: 19, limiting_mag: 5 };
  const parts = [" under a sky of ", choice(["site", "sky"], "scale of the sky's brightness", options, kind, (chosen) => {
    if (chosen in starts) write(["site", "sky"], { [chosen]: starts[chosen] });
  }), " "];
  if (kind !== "e_per_s") {
    // The whole entry is written, for it may be left out in the file; the height at which it was measured stays.
    const seen = (given.altitude_deg ?? null) === null ? {} : { altitude_deg: given.altitude_deg };
    const input = numeric(["site", "sky", kind], `the sky: ${SKIES[kind]}`, "", { put: (value) => write(["site", "sky"], value === null ? null : { [kind]: value, ...seen }) });
    const field = input.querySelector("input");
    field.value = given[kind];
    fit(field);
    parts.push(input, ...("altitude_deg" in seen ? [` ${seen.altitude_deg}° high`] : []));
  }
  return [...parts, ", lit by ", choice(["site", "lamps"], "what lights the sky", [["mixed", "mixed lamps"], ["led-3000", "warm white LEDs"], ["led-4000", "neutral white LEDs"], ["sodium", "sodium lamps"]], lamps), ", "];
}

function filters() {
  const list = read(["filters"]) ?? [];
  if (list.length === 0) {
    return ["through ", choice(["filters"], "filter", [[null, "whatever suits the camera"], ...FILTERS.map((name) => [name, name])], null, (name) => write(["filters"], name ? [{ name }] : [])), ", "];
  }
  const parts = ["through "];
  list.forEach((filter, i) => {
    const own = filter.name ?? null;
    const known = FILTERS.map((name) => [name, name]);
    const options = own === null ? [[null, `a window about ${filter.centre_nm} nm`], ...known] : withCurrent(known, own);
    if (i > 0) parts.push(i === list.length - 1 ? " and " : ", ");
    parts.push(choice(["filters", i, "name"], `filter ${i + 1}`, options, own, (name) => {
      for (const key of ["centre_nm", "width_nm", "curve"]) if ((filter[key] ?? null) !== null) write(["filters", i, key], null);
      write(["filters", i, "name"], name);
    }));
    const efficiency = filter.quantum_efficiency;
    parts.push(" (quantum efficiency ");
    if (efficiency && typeof efficiency === "object") {
      for (const colour of Object.keys(efficiency)) parts.push(`${colour} `, numeric(["filters", i, "quantum_efficiency", colour], `quantum efficiency of ${colour}, filter ${i + 1}`, ""), " ");
    } else parts.push(numeric(["filters", i, "quantum_efficiency"], `quantum efficiency, filter ${i + 1}`, ""));
    if (list.length > 1) parts.push(", share ", numeric(["filters", i, "share"], `share of the hours, filter ${i + 1}`, ""));
    parts.push(")");
    if (list.length > 1) parts.push(" ", el("button", { type: "button", class: "small", "aria-label": `leave out filter ${i + 1}`, onclick: () => { write(["filters"], list.filter((_, j) => j !== i)); rebuilt(["filters"]); changed(); } }, "−"));
  });
  parts.push(" ", el("button", { type: "button", class: "small", "aria-label": "another filter", onclick: () => { write(["filters"], [...list, { name: FILTERS.find((name) => !list.some((other) => other.name === name)) ?? "red" }]); rebuilt(["filters"]); changed(); } }, "+"));
  return [...parts, ", "];
}

function goal() {
  const hours = (read(["goal", "hours"]) ?? null) !== null;
  const kind = choice(["goal"], "what is wanted", [["snr", "a signal-to-noise ratio of"], ["hours", "the best of so many hours:"]], hours ? "hours" : "snr", (chosen) => {
    write(["goal", "snr"], chosen === "snr" ? 10 : null);
    write(["goal", "hours"], chosen === "hours" ? 4 : null);
  });
  const much = hours ? numeric(["goal", "hours"], "hours on the clock", "h") : numeric(["goal", "snr"], "signal-to-noise ratio", "");
  const patch = read(["goal", "pixel"]) === true ? ["in a single pixel"] : ["in a square of ", numeric(["goal", "patch_arcsec"], "side of the square in arcseconds", "″"), " a side"];
  return ["I want ", kind, " ", much, " ", ...patch, "; a clear night has ", numeric(["goal", "clear_hours_per_night"], "clear hours of a night", "h"),
    ", and ", numeric(["goal", "already_have_h"], "hours that are there already", "h"), " are there already."];
}

const REST = [
  [["optics", "obstruction_mm"], "central obstruction", "mm"], [["optics", "transmission"], "transmission of the optics", ""],
  [["site", "seeing_arcsec"], "seeing", "″"], [["site", "extinction_mag"], "extinction", "mag per airmass"], [["site", "ambient_c"], "air", "°C"],
  [["site", "height_m"], "height of the place", "m"], [["site", "utc_offset_h"], "local time minus universal time", "h"],
  [["target", "min_altitude_deg"], "not below an altitude of", "°"], [["goal", "star_mag_kept"], "stars not to burn: fainter than", "mag"],
  [["mount", "guide_rms_arcsec"], "guiding error", "″"], [["mount", "polar_error_arcmin"], "polar error", "′"],
  [["calibration", "darks"], "darks", ""], [["calibration", "flats"], "flats", ""], [["calibration", "biases"], "biases", ""], [["calibration", "dark_mismatch_c"], "darks miss the temperature by", "K"],
  [["stack", "clip_sigma"], "rejection at", "σ"], [["stack", "min_subs"], "at least subs", ""], [["stack", "min_positions"], "at least dither positions", ""], [["stack", "most_subs"], "at most subs", ""], [["stack", "most_gigabytes"], "at most", "GB"],
];

export function build(profiles, onChange, onRebuild) {
  changed = onChange;
  rebuilt = onRebuild;
  const guided = read(["mount", "guided"]) ?? taken(["mount", "guided"]);
  const parts = [
    ...camera(profiles),
    "behind ", numeric(["optics", "aperture_mm"], "aperture in mm", "mm"), " of aperture and ", numeric(["optics", "focal_length_mm"], "focal length in mm", "mm"), " of focal length,",
    ...sky(),
    "on the evening of ", date(["goal", "date"], "date of the evening"), " at latitude ", numeric(["site", "latitude_deg"], "latitude in degrees, north positive", "°", { nothing: "?" }), " and longitude ", numeric(["site", "longitude_deg"], "longitude in degrees, east positive", "°", { nothing: "?" }), ", ",
    ...filters(),
    "I photograph ", text(["target", "name"], "name of the target", "something"), " of ", numeric(["target", "surface_brightness_mag"], "surface brightness in V, mag per square arcsecond", "mag/arcsec²", { nothing: "–" }),
    " and ", numeric(["target", "line_rayleigh"], "brightness of its lines in rayleigh", "rayleigh", { nothing: "0" }), " in its lines, ", numeric(["target", "altitude_deg"], "altitude of the target in degrees", "°"), " high, on a mount that is ",
    choice(["mount", "guided"], "guiding", [[true, "guided"], [false, "not guided"]], guided), " and holds ", numeric(["mount", "longest_sub_s"], "longest sub of the mount in seconds", "s", { nothing: "any" }),
    ", settles a dither in ", numeric(["mount", "settle_s"], "seconds for a dither to settle", "s"), ", waits ", numeric(["mount", "between_subs_s"], "seconds between subs", "s"), " between subs and loses ",
    numeric(["mount", "lost_subs_per_hour"], "subs lost in an hour", ""), " of them in an hour. ",
    ...goal(),
  ];
  $("sentence").replaceChildren(el("p", { class: "sentence" }, ...parts));
  $("rest").replaceChildren(...REST.map(([key, label, unit]) => el("div", {}, el("span", {}, `${label} `), numeric(key, label, unit, { nothing: "–" }))));
}
