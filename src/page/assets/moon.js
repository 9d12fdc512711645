// The Moon's face: the lit part is the lighter one, whatever the theme.

import { svg } from "./dom.js";

/** A face about a point; lit on the right while it grows, as seen from the north. */
export function moonFace(cx, cy, r, lit, waxing) {
  const share = Math.max(0, Math.min(1, lit / 100));
  const inner = Math.abs(1 - 2 * share) * r;
  const outerSweep = waxing ? 1 : 0;
  const innerSweep = (share < 0.5) === waxing ? 0 : 1;
  return svg("g", { class: "moon", "aria-hidden": "true" },
    svg("circle", { cx, cy, r, class: "moon-dark" }),
    share > 0.01 ? svg("path", { class: "moon-lit", d: `M${cx} ${cy - r}A${r} ${r} 0 0 ${outerSweep} ${cx} ${cy + r}A${inner} ${r} 0 0 ${innerSweep} ${cx} ${cy - r}Z` }) : null,
    svg("circle", { cx, cy, r, class: "moon-rim" }));
}

export const moonIcon = (lit, waxing, size = 16) => svg("svg", { width: size, height: size, viewBox: `0 0 ${size} ${size}`, class: "face", "aria-hidden": "true" }, moonFace(size / 2, size / 2, size / 2 - 1, lit, waxing));
