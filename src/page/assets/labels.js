// What each key of the night is called on the page, and errors of the program in the page's words.

import { datesInWords, plain } from "./format.js";

export const LABELS = {
  "goal.date": "the evening", "target.name": "the target", "target.surface_brightness_mag": "the target's brightness", "target.line_rayleigh": "the brightness of its lines",
  "target.emission_measure_pc_cm6": "its emission measure", "target.core_surface_brightness_mag": "the brightness of its core",
  "target.altitude_deg": "the target's altitude", "target.min_altitude_deg": "the least altitude", "target.ra": "the target's place", "target.dec": "the target's place", "target.ra_deg": "the target's place", "target.dec_deg": "the target's place", "target.ra_h": "the target's place",
  filters: "the filters", "goal.picture": "the kind of picture", "goal.snr": "signal to noise", "goal.hours": "the hours", "goal.patch_arcsec": "the square's side", "goal.pixel": "a single pixel",
  "goal.sub_s": "the length of a sub", "goal.dither_every": "the dither cadence", "goal.clear_hours_per_night": "clear hours of a night", "goal.clear_share": "the share of clear nights", "goal.setup_min": "minutes of set-up",
  "goal.refocus_min_per_hour": "minutes for refocusing", "goal.star_mag_kept": "the stars that may not burn", "goal.already_have_h": "hours that are there", "goal.need_astronomical_night": "the wish for a dark night",
  "site.sky": "the sky", "site.lamps": "the lamps", "site.latitude_deg": "latitude", "site.longitude_deg": "longitude", "site.height_m": "the height of the place", "site.utc_offset_h": "the clock", "site.horizon": "the horizon", "site.seeing_arcsec": "the seeing",
  "site.extinction_mag": "the extinction", "site.ambient_c": "the air's temperature", "site.climate": "the climate",
  "camera.profile": "the camera", "camera.gain_setting": "the gain", "camera.cooled": "the cooling", "camera.sensor_c": "the sensor's temperature", "camera.rise_c": "the sensor's warmth above the air", "camera.modified": "the infrared-cut filter",
  "optics.aperture_mm": "the aperture", "optics.focal_length_mm": "the focal length", "optics.obstruction_mm": "the central obstruction", "optics.transmission": "the transmission of the optics",
  "mount.guided": "the guiding", "mount.longest_sub_s": "the longest sub of the mount", "mount.settle_s": "the settling of a dither", "mount.between_subs_s": "the pause between subs", "mount.lost_subs_per_hour": "lost subs in an hour", "mount.guide_rms_arcsec": "the guiding error", "mount.polar_error_arcmin": "the polar error",
  "calibration.darks": "darks", "calibration.flats": "flats", "calibration.biases": "biases", "calibration.dark_mismatch_c": "the darks' temperature", "calibration.share_percent": "the share of the masters in percent", "filters.transmission": "the transmission of the filter", "mount.allowed_drift_px": "the drift that is allowed",
  "stack.clip_sigma": "the rejection", "stack.min_subs": "the least number of subs", "stack.min_positions": "the least number of positions", "stack.most_subs": "the most subs", "stack.most_gigabytes": "the most gigabytes",
  "filters.width_nm": "the filter's width", "filters.quantum_efficiency": "the light that the sensor counts", "filters.snr": "the filter's own signal to noise", "filters.share": "the filter's share", "filters.name": "the filter",
};
const TABLES = { camera: "the camera", optics: "the telescope", site: "the place", target: "the target", goal: "the goal", mount: "the mount", stack: "the stack", calibration: "the calibration frames", filters: "the filters" };

export const labelOf = (key) => {
  const path = key.filter((step) => typeof step === "string").join(".");
  if (key[0] === "filters" && key.length <= 2) return "the filters";
  return LABELS[path] ?? path.replace(/.*\./, "").replace(/_(mag|arcsec|arcmin|deg|mm|s|h|c|m|nm)$/, "").replaceAll("_", " ");
};

const UNITS = /_(mag|arcsec|arcmin|deg|mm|s|h|c|m|nm|percent|min|px)$/;
const BARE = Object.fromEntries(Object.entries(LABELS).filter(([path]) => path.includes("_")).map(([path, label]) => [path.split(".").at(-1), label]));
const SHORT = { snr: "signal to noise", hours: "hours", sub_s: "the length of a sub", date: "the evening", name: "the name", picture: "the kind of picture", profile: "the camera" };

/** A message of the program without the names of keys, tables and files' syntax. */
export function inWordsOfThePage(message) {
  let text = plain(message);
  const parser = /TOML parse error at line (\d+).*\^+\s*(.*)$/.exec(text);
  if (parser) return `the file cannot be read at line ${parser[1]}: ${parser[2] || "it is not written as a night is"}`;
  const missing = /^(.*?\.(?:toml|json|csv)): No such file/.exec(text);
  if (missing) return `the file ${missing[1]} is not in this folder`;
  text = text.replace(/`?date = "(\d{4}-\d\d-\d\d)"`?/g, "$1").replace(/\bgive (ra|dec)[^,;.]*/g, "give the target's place");
  text = text.replace(/\bunder \[\[?([a-z_]+)\]?\]/g, (_, name) => `for ${TABLES[name] ?? "the night"}`);
  text = text.replace(/`?\b((?:camera|optics|site|target|goal|mount|stack|calibration|filters)\.[a-z_]+)(?:\.[a-z_]+)*`?/g, (_, path) => LABELS[path] ?? path.split(".").at(-1).replace(UNITS, "").replaceAll("_", " "));
  text = text.replace(/\[(the [a-z]+)\]/g, "$1");
  text = text.replace(/the target's place and the target's place/g, "the target's place");
  text = text.replace(/`([a-z_]+)`/g, (whole, name) => BARE[name] ?? SHORT[name] ?? name);
  text = text.replace(/\b([a-z]+(?:_[a-z0-9]+)+)( = )?/g, (whole, name, is) => (BARE[name] ? `${BARE[name]}${is ? " " : ""}` : whole));
  text = text.replace(/\bsnr = ([\d.]+)/g, "a signal to noise of $1").replace(/\bsnr\b/g, "signal to noise").replace(/\bsub_s\b/g, "the length of a sub").replace(/\b(true|false)\b/g, (word) => (word === "true" ? "yes" : "no"));
  text = text.replace(/^.*\.toml: /, "").replace(/`/g, "").replace(/\bkeys\b/g, "words").replace(/\bkey\b/g, "word").replace(/ = /g, " ");
  // Our signs: one minus, one electron, squares raised.
  text = text.replace(/arcsec2/g, "arcsec²").replace(/\be-(?=\/|[\s,.;)]|$)/g, "e⁻").replace(/(^|[\s(])-(?=\d)/g, "$1−");
  return datesInWords(text);
}

/** The word that an error is about; nothing where none is named. */
export function wordOf(error) {
  const text = `${error.message} ${error.hint ?? ""}`;
  const path = Object.keys(LABELS).find((own) => own.includes(".") && text.includes(own));
  if (path) return path;
  if (["camera-unusable", "unreadable", "outside"].includes(error.code)) return "camera.profile";
  if (error.code === "target-unusable") return "target.name";
  if (error.code === "sky-unusable") return "site.sky";
  if (error.code === "rig-unusable") return "optics.aperture_mm";
  if (/ on \d{4}-\d\d-\d\d|of \d{4}-\d\d-\d\d/.test(error.message)) return "goal.date";
  if (error.code === "goal-out-of-reach") return "goal.snr";
  const bare = Object.keys(LABELS).find((own) => own.includes(".") && own.split(".")[1].includes("_") && text.includes(own.split(".")[1]));
  return bare ?? null;
}
