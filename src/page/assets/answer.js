// The answer and what stands behind it, read from the document of `subwell plan --json` and from nothing else.

import { $, duration, el, number, plain, rounded, show, table } from "./dom.js";

const SET_BY = {
  "wall-clock": "waits between subs against lost subs: nothing else binds",
  tracking: "the mount", "field-rotation": "the turning of the field", "star-saturation": "the brightest star to keep",
  "sky-saturation": "the sky, which would saturate", rejection: "the least number of subs or dither positions",
  storage: "the most subs or gigabytes", asked: "the length that was asked for",
};
const LIMITS = { tracking: "the mount", field_rotation: "the field turns", star_saturation: "a star burns", sky_saturation: "the sky half fills the well" };
const SOURCES = { target: "target's own light", sky: "sky", moon: "Moon", dark: "dark current", read: "read noise", bands: "read noise that rows share", quantisation: "quantisation", pattern: "pattern", calibration: "calibration frames" };
const COLOURS = { R: "red", G: "green", B: "blue" };

const time = (seconds, path) => number(seconds, path, duration(seconds));
const plane = (one) => (one.colour ? `${COLOURS[one.colour] ?? one.colour} (${one.plane})` : one.plane);

function line(filter, i) {
  const at = `filters/${i}`;
  const every = filter.dither_every_subs;
  return el("p", { class: "line" }, `${plain(filter.name)}: `,
    number(filter.subs_to_shoot, `${at}/subs_to_shoot`, String(filter.subs_to_shoot)), filter.subs_to_shoot === 1 ? " sub of " : " subs of ", time(filter.sub_s, `${at}/sub_s`),
    ", dither every ", number(every, `${at}/dither_every_subs`, every === 1 ? "" : String(every)), every === 1 ? "sub" : " subs");
}

/** The signal over noise of the plane that is worst off, where hours were given. */
function reached(plan) {
  if (plan.goal.kind !== "hours") return [];
  return plan.filters.flatMap((filter, i) => filter.planes.map((one, j) =>
    el("p", {}, `${plain(filter.name)}, ${plane(one)}: SNR `, number(one.snr.value, `filters/${i}/planes/${j}/snr/value`, rounded(one.snr.value, 3)),
      " ± ", number(one.snr.uncertainty, `filters/${i}/planes/${j}/snr/uncertainty`, rounded(one.snr.uncertainty, 2)))));
}

export function answer(plan) {
  const gain = plan.gain_setting === null ? [] : ["gain ", number(plan.gain_setting, "gain_setting", String(plan.gain_setting)), ", "];
  const [low, high] = plan.wall_clock_range_s;
  const range = plan.goal.kind === "hours" ? [] : [" (likely ", time(low, "wall_clock_range_s/0"), " to ", time(high, "wall_clock_range_s/1"), ")"];
  const nights = plan.nights === 1 ? [number(1, "nights", "one"), " night"] : [number(plan.nights, "nights", String(plan.nights)), " nights"];
  $("said").replaceChildren(
    ...plan.filters.map(line),
    el("p", { class: "with" }, ...gain, "sensor at ", number(plan.sensor_c, "sensor_c", `${plan.sensor_c.toFixed(0).replace("-", "−")} °C`)),
    el("p", { class: "clock" }, time(plan.wall_clock_s, "wall_clock_s"), " on the clock", ...range, ", ", ...nights),
    ...reached(plan));
  $("answer").classList.toggle("long", plan.filters.length > 2);
  show($("problem"), false);
  $("said").classList.remove("stale");
}

function bar(percent, path) {
  const strip = el("span", { class: "strip", "aria-hidden": "true" });
  strip.style.width = `${Math.max(0, Math.min(100, percent))}%`;
  return el("span", { class: "share" }, el("span", { class: "track" }, strip), number(percent, path, `${percent < 10 ? percent.toFixed(1) : percent.toFixed(0)} %`));
}

export function budget(plan) {
  const tables = plan.filters.map((filter, i) => {
    const shown = Object.entries(SOURCES).filter(([source]) => source !== "bands" || filter.planes.some((one) => one.noise_share_percent.bands > 0));
    const rows = shown.map(([source, words]) =>
      [words, ...filter.planes.map((one, j) => bar(one.noise_share_percent[source], `filters/${i}/planes/${j}/noise_share_percent/${source}`))]);
    const head = ["part of the stack's variance", ...filter.planes.map((one) => (filter.planes.length > 1 ? plane(one) : "share"))];
    const region = filter.planes.length > 1 ? { class: "wide", role: "region", tabindex: 0, "aria-label": `noise through ${plain(filter.name)}` } : { class: "wide" };
    return el("div", region, table(head, rows, plan.filters.length > 1 ? `filter ${plain(filter.name)}` : null));
  });
  $("shares").replaceChildren(...tables);
}

function entry(list, name, ...value) {
  list.append(el("dt", {}, name), el("dd", {}, ...value));
}

export function reasons(plan) {
  const lists = plan.filters.flatMap((filter, i) => {
    const at = `filters/${i}`;
    const list = el("dl", {});
    const [from, to] = filter.sub_range_s;
    entry(list, "sub length", "lengths from ", time(from, `${at}/sub_range_s/0`), " to ", time(to, `${at}/sub_range_s/1`), " cost at most ", number(filter.sub_range_within_percent, `${at}/sub_range_within_percent`, `${Number(filter.sub_range_within_percent.toFixed(1))} %`), " more than the best, which is ", time(filter.sub_optimum_s, `${at}/sub_optimum_s`));
    entry(list, "set by", SET_BY[filter.set_by] ?? filter.set_by);
    const limits = Object.entries(LIMITS).filter(([key]) => filter.limits_s[key] !== null);
    if (limits.length > 0) entry(list, "limits", ...limits.flatMap(([key, words], n) => [`${n > 0 ? "; " : ""}${words}: `, time(filter.limits_s[key], `${at}/limits_s/${key}`)]));
    entry(list, "limited by the sky", "from ", time(filter.sky_limited_s, `${at}/sky_limited_s`), " on: read noise adds ", number(filter.sky_limited_excess_percent, `${at}/sky_limited_excess_percent`, `${filter.sky_limited_excess_percent} %`), " there");
    const [least, most] = filter.subs_kept_range;
    entry(list, "subs in the stack", number(filter.subs_kept, `${at}/subs_kept`, String(filter.subs_kept)), " (likely ", number(least, `${at}/subs_kept_range/0`, String(least)), " to ", number(most, `${at}/subs_kept_range/1`, String(most)), "), ", time(filter.integration_s, `${at}/integration_s`), " of open shutter, ", number(filter.gigabytes, `${at}/gigabytes`, `${rounded(filter.gigabytes, 2)} GB`));
    entry(list, "dithers", number(filter.dithers, `${at}/dithers`, String(filter.dithers)), " in a square of ", number(filter.dither_px, `${at}/dither_px`, String(filter.dither_px)), " px, ", number(filter.positions_per_night, `${at}/positions_per_night`, String(filter.positions_per_night)), " positions in a usual night");
    filter.planes.forEach((one, j) => {
      const here = `${at}/planes/${j}`;
      const rate = (name) => number(one.rates_e_per_s[name], `${here}/rates_e_per_s/${name}`, rounded(one.rates_e_per_s[name], 3));
      const faint = one.faintest_mag_per_arcsec2 === null ? [] : ["; faintest seen: ", number(one.faintest_mag_per_arcsec2, `${here}/faintest_mag_per_arcsec2`, `${one.faintest_mag_per_arcsec2.toFixed(1)} mag/arcsec²`)];
      const snr = one.snr.value === 0 ? ["sees nothing of the target"] : ["SNR ", number(one.snr.value, `${here}/snr/value`, rounded(one.snr.value, 3)), " ± ", number(one.snr.uncertainty, `${here}/snr/uncertainty`, rounded(one.snr.uncertainty, 2))];
      entry(list, `plane ${plane(one)}`, ...snr,
        "; in e⁻/s: target ", rate("target"), ", sky ", rate("sky"), ", Moon ", rate("moon"), ", dark ", rate("dark"),
        "; the sky stands at ", number(one.sky_level_dn, `${here}/sky_level_dn`, String(one.sky_level_dn)), " DN, ", number(one.sky_share_of_full_well_percent, `${here}/sky_share_of_full_well_percent`, `${rounded(one.sky_share_of_full_well_percent, 2)} %`), " of the full well", ...faint);
    });
    return plan.filters.length > 1 ? [el("h3", {}, plain(filter.name)), list] : [list];
  });
  const all = el("dl", {});
  entry(all, "calibration frames", number(plan.darks, "darks", String(plan.darks)), " darks at the subs' length, ", number(plan.flats, "flats", String(plan.flats)), " flats, ", number(plan.biases, "biases", String(plan.biases)), " biases");
  entry(all, "least sure", `${plan.largest_uncertainty.source.replace("-", " ")}: `, number(plan.largest_uncertainty.share_percent, "largest_uncertainty/share_percent", `${plan.largest_uncertainty.share_percent.toFixed(0)} %`), " of the range comes from it");
  if (plan.by_gain_setting.length > 1) {
    entry(all, "at each gain", ...plan.by_gain_setting.flatMap((gain, i) => [`${i > 0 ? "; " : ""}gain ${gain.gain_setting ?? "unnamed"}: `, time(gain.wall_clock_s, `by_gain_setting/${i}/wall_clock_s`)]));
  }
  if (plan.night) {
    entry(all, `night of ${plain(plan.night.date)}`, number(plan.night.dark_hours, "night/dark_hours", `${plan.night.dark_hours.toFixed(1)} h`), " dark, ", number(plan.night.moon_free_hours, "night/moon_free_hours", `${plan.night.moon_free_hours.toFixed(1)} h`), " of them without the Moon, ", number(plan.night.usable_hours, "night/usable_hours", `${plan.night.usable_hours.toFixed(1)} h`), " usable; mean airmass ", number(plan.night.airmass, "night/airmass", plan.night.airmass.toFixed(2)));
  }
  $("reasons").replaceChildren(...lists, all);
}

export function doubts(list, place) {
  place.replaceChildren(...list.map((caveat) => el("li", {}, plain(caveat.message), caveat.about ? ` (${plain(caveat.about)})` : "", " ", el("code", {}, caveat.code),
    caveat.hint ? el("span", { class: "hint" }, `What helps: ${plain(caveat.hint)}`) : null)));
}

