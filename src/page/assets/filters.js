// Filters: their names, letters and textures. Texture and letter tell them apart; the colour repeats it.

import { svg } from "./dom.js";
import { plain } from "./format.js";

const KINDS = {
  luminance: ["luminance", "L", "l"], red: ["red", "R", "r"], green: ["green", "G", "g"], blue: ["blue", "B", "b"],
  "h-alpha": ["Hα", "Hα", "ha"], oiii: ["OIII", "OIII", "oiii"], sii: ["SII", "SII", "sii"], dual: ["dual band", "2", "dual"], none: ["no filter", "C", "none"],
};
export const NAMES = Object.keys(KINDS);

export const filterName = (name) => KINDS[name]?.[0] ?? plain(name ?? "a window of its own");
export const filterLetter = (name) => KINDS[name]?.[1] ?? plain(name ?? "?").slice(0, 4);
const kindOf = (name) => KINDS[name]?.[2] ?? "none";
export const fillOf = (name) => `url(#texture-${kindOf(name)})`;
export const lineOf = (name) => `filter-${kindOf(name)}`;

const STROKES = {
  l: "", none: "", r: "M-3 3L3 -3M0 12L12 0M9 15L15 9", g: "M0 3H12M0 9H12", b: "M-3 9L3 15M0 0L12 12M9 -3L15 3",
  oiii: "M3 0V12M9 0V12", sii: "M0 3H12M0 9H12M3 0V12M9 0V12", ha: "", dual: "M6 0V12",
};
const DOTS = { ha: [[3, 3], [9, 9]], dual: [[2, 3], [10, 9]] };

/** The textures, once for the whole page. */
export function textures() {
  const tile = (kind) => svg("pattern", { id: `texture-${kind}`, width: 12, height: 12, patternUnits: "userSpaceOnUse", class: `filter-${kind}` },
    svg("rect", { width: 12, height: 12, class: kind === "l" || kind === "none" ? "ground empty" : "ground" }),
    STROKES[kind] ? svg("path", { d: STROKES[kind], class: "stroke" }) : null,
    ...(DOTS[kind] ?? []).map(([cx, cy]) => svg("circle", { cx, cy, r: 1.3, class: "dot" })));
  return svg("svg", { width: 0, height: 0, class: "textures", "aria-hidden": "true" }, svg("defs", {}, ...Object.values(KINDS).map(([, , kind]) => tile(kind))));
}

export const swatch = (name) => svg("svg", { class: `swatch ${lineOf(name)}`, viewBox: "0 0 26 16", width: 26, height: 16, "aria-hidden": "true" },
  svg("rect", { x: 1, y: 1, width: 24, height: 14, fill: fillOf(name), class: `edge${kindOf(name) === "none" ? " dashed" : ""}` }));
