// The target: one field for a name, a number or a place; what is known of each, and the hours it takes tonight.

import { button, el, svg } from "./dom.js";
import { clockOf, fixed, hours, plain, rounded } from "./format.js";
import { draft, read, set } from "./night.js";
import { closeWord } from "./route.js";
import { ask } from "./server.js";

const FEW = 12;
const KINDS = { Galaxy: "galaxy", Globular: "globular cluster", OpenCluster: "open cluster", Planetary: "planetary nebula", Reflection: "reflection nebula", Emission: "emission nebula", Remnant: "supernova remnant" };

export const BRIGHTNESS = [["target", "surface_brightness_mag"], ["target", "line_rayleigh"], ["target", "emission_measure_pc_cm6"]];
export const PLACE = [["target", "ra"], ["target", "dec"], ["target", "ra_deg"], ["target", "dec_deg"], ["target", "ra_h"]];
/** What gives a named target to its name: brightness, altitude and place that were typed are taken out. */
export const byItsName = (name) => [[["target", "name"], name], ...[...BRIGHTNESS, ...PLACE, ["target", "altitude_deg"], ["target", "core_surface_brightness_mag"]].filter((key) => read(key) !== null).map((key) => [key, null])];

let objects = [];
const same = (text) => text.toLowerCase().replace(/[^a-z0-9α-ω]/g, "").replace(/^messier/, "m").replace(/([a-z])0+(\d)/g, "$1$2");

/** Reads the catalogue once. */
export async function catalogueOf() {
  if (objects.length === 0) ({ objects } = await ask("GET", "/api/catalogue"));
  return objects;
}
export const objectOf = (name) => objects.find((object) => object.names.some((own) => same(own) === same(name))) ?? null;

/** `01 33 51 +30 39`, `1h33m51s, +30° 39'`, `23.46° 30.66°`: two halves, the second with a sign or a comma before it. */
export function placeOf(text) {
  const found = /^\s*([0-9][0-9hms:°'"′″. ]*?)(?:\s*,\s*|\s+(?=[+−-]))([+−-]?\s*[0-9][0-9dms:°'"′″. ]*)\s*$/i.exec(text);
  return found ? { ra: found[1].trim(), dec: found[2].replace(/\s+(?=\d)/, (space, at) => (at === 1 ? "" : space)).trim() } : null;
}

function field(object, frame) {
  if (!frame) return "";
  const [wide, high] = frame, w = 64, h = (64 * high) / wide;
  const [a, b] = object.size_arcmin.map((size) => Math.max(0.8, (size / wide) * w / 2));
  return svg("svg", { width: 68, height: Math.round(h) + 4, viewBox: `-2 -2 68 ${h + 4}`, class: "in-field", role: "img", "aria-label": `${rounded(object.size_arcmin[0], 2)}′ by ${rounded(object.size_arcmin[1], 2)}′ in a field of ${rounded(wide, 3)}′ by ${rounded(high, 3)}′` },
    svg("rect", { x: 0, y: 0, width: w, height: h, class: "frame" }), svg("ellipse", { cx: w / 2, cy: h / 2, rx: Math.min(a, 200), ry: Math.min(b, 200), class: "object" }));
}

function brightness(object) {
  if (object.surface_brightness_mag !== null) return [`${object.surface_brightness_mag.toFixed(1)} ± ${object.uncertainty_mag.toFixed(1)}`, el("span", { class: "quiet small" }, " mag/arcsec²")];
  if (object.line_rayleigh !== null) return [rounded(object.line_rayleigh, 2), el("span", { class: "quiet small" }, " rayleigh in Hα")];
  return "–";
}

/** Takes a place that was typed; its brightness stays what was written. */
function takePlace({ ra, dec }) {
  const bright = read(["target", "surface_brightness_mag"]) ?? read(["target", "line_rayleigh"]) ?? read(["target", "emission_measure_pc_cm6"]);
  const object = read(["target", "name"]) ? objectOf(read(["target", "name"])) : null;
  set([[["target", "ra"], ra], [["target", "dec"], dec], [["target", "ra_deg"], null], [["target", "dec_deg"], null], [["target", "ra_h"], null], [["target", "altitude_deg"], null],
    ...(object ? [[["target", "name"], null]] : []), ...(bright === null ? [[["target", "surface_brightness_mag"], 22]] : [])],
  bright === null ? { "target.surface_brightness_mag": "A usual brightness is taken; write the one you know." } : {});
  closeWord();
}

export function search() {
  const input = el("input", { type: "search", class: "search", "aria-label": "name, number or place of the target", autocomplete: "off", spellcheck: "false", maxlength: 80, placeholder: "" });
  const said = el("span", { class: "quiet" }, "a name, a number, or a place such as 01 33 51 +30 39");
  const frame = el("span", { class: "quiet small" });
  const body = el("tbody", {}), status = el("p", { class: "note", role: "status" }, "Working out the hours of each…");
  const more = button("show more", () => { most += 24; draw(); }, { class: "link" });
  let targets = null, most = FEW;
  const own = read(["target", "name"]);

  const take = (object) => { set(byItsName(object.names[0])); closeWord(); };
  const hourOf = (object) => targets?.byName.get(object.names[0]);
  const order = (a, b) => {
    const [x, y] = [hourOf(a), hourOf(b)];
    const rank = (one) => (one ? (one.done_on || targets.date === null ? 0 : 1e9) + one.wall_clock_s : 1e12);
    return rank(x) - rank(y);
  };

  function draw() {
    const text = input.value.trim(), wanted = same(text);
    const place = placeOf(text);
    const hits = objects.filter((object) => wanted === "" || object.names.some((name) => same(name).includes(wanted)));
    const starts = (object) => (wanted !== "" && object.names.some((name) => same(name).startsWith(wanted)) ? 0 : 1);
    hits.sort((a, b) => starts(a) - starts(b) || (targets ? order(a, b) : 0));
    const rows = hits.slice(0, most).map((object) => {
      const found = hourOf(object), why = targets?.why.get(object.names[0]);
      return el("tr", { class: own && objectOf(own) === object ? "own" : null },
        el("th", { scope: "row" }, button(plain(object.names[0]), () => take(object), { class: "link name" }), el("span", { class: "quiet small" }, ` ${[object.names.slice(1).map(plain).join(", "), KINDS[object.kind]].filter(Boolean).join("; ")}`)),
        el("td", { "data-head": "in your field" }, field(object, targets?.field)),
        el("td", { "data-head": "up and dark" }, el("span", {}, found?.window ? `${clockOf(found.window[0])} to ${clockOf(found.window[1])}` : targets && why ? "–" : "", found?.altitude_deg ? el("span", { class: "quiet small" }, ` ${fixed(found.altitude_deg[0])} to ${fixed(found.altitude_deg[1])}°`) : "")),
        el("td", { "data-head": "brightness", class: "figure" }, el("span", {}, brightness(object))),
        el("td", { "data-head": "hours", class: "figure" }, found ? el("strong", {}, hours(found.wall_clock_s)) : why ? el("span", { class: "quiet small" }, plain(why)) : targets ? "–" : ""));
    });
    if (place) rows.unshift(el("tr", {}, el("th", { scope: "row" }, button(`${place.ra} ${place.dec}`, () => takePlace(place), { class: "link name" }), el("span", { class: "quiet small" }, " right ascension and declination")), el("td", { colspan: 4, class: "quiet" }, "this place on the sky")));
    else if (text !== "" && !objects.some((object) => object.names.some((name) => same(name) === wanted))) {
      rows.push(el("tr", {}, el("th", { scope: "row" }, button(`“${plain(text)}”`, () => { set([[["target", "name"], text]]); closeWord(); }, { class: "link name" })), el("td", { colspan: 4, class: "quiet" }, "a name of my own, with the brightness that I write")));
    }
    body.replaceChildren(...rows);
    more.hidden = hits.length <= most;
  }

  input.addEventListener("input", () => { most = FEW; draw(); });
  input.addEventListener("keydown", (event) => {
    if (event.key === "Enter" || event.key === "ArrowDown") { event.preventDefault(); const first = body.querySelector("button"); if (event.key === "Enter" && input.value.trim() !== "") first?.click(); else first?.focus(); }
  });
  body.addEventListener("keydown", (event) => {
    const all = [...body.querySelectorAll("button")], at = all.indexOf(document.activeElement);
    const to = { ArrowDown: at + 1, ArrowUp: at - 1 }[event.key];
    if (to === undefined) return;
    event.preventDefault();
    if (to < 0) input.focus(); else all[Math.min(all.length - 1, to)]?.focus();
  });
  draw();
  ask("POST", "/api/targets", draft()).then((found) => {
    targets = { byName: new Map(found.targets.map((target) => [target.name, target])), why: new Map(found.out_of_reach.map(({ name, why }) => [name, why])), field: found.field_arcmin, date: found.date };
    frame.replaceChildren(`${rounded(found.field_arcmin[0], 3)}′ × ${rounded(found.field_arcmin[1], 3)}′ is your field`);
    status.replaceChildren(`Hours to a signal to noise of ${rounded(found.snr, 3)}, each through the quickest of your filters.`);
    draw();
  }).catch((error) => { status.replaceChildren(error.code === "gone" ? plain(error.message) : "The hours of each are not known for this night; the names work all the same."); });
  return el("div", { class: "targets" }, el("p", { class: "ask" }, input, said, frame),
    el("table", { class: "cards" }, el("thead", {}, el("tr", {}, ...["target", "in your field", "up and dark", "brightness", "hours"].map((head, i) => el("th", { scope: "col", class: i > 2 ? "figure" : null }, head)))), body),
    el("p", {}, more), status);
}

