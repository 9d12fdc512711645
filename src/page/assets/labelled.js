// Labels in a figure: one that would touch another is left to the reading line and the table.

import { svg } from "./dom.js";

const SIZE = 13, HIGH = 16, GAP = 3;
let measure = null;

export class Labels {
  constructor(box) {
    this.box = box;
    this.taken = [];
    measure ??= document.createElement("canvas").getContext("2d");
  }

  width(text, strong = false) {
    measure.font = `${strong ? 600 : 400} ${SIZE}px ${getComputedStyle(document.body).fontFamily}`;
    return measure.measureText(text).width;
  }

  take(x, y, w, h) { this.taken.push([x, y, w, h]); }

  /** A point of a curve that labels outside their own tab keep off. */
  curve([x, y]) { this.points ??= []; this.points.push([x, y]); }

  frameOf({ x, y, text, anchor, strong }) {
    const lines = Array.isArray(text) ? text : [text];
    const w = Math.max(...lines.map((line) => this.width(line, strong)));
    const left = anchor === "middle" ? x - w / 2 : anchor === "end" ? x - w : x;
    return [left - GAP, y - SIZE, w + 2 * GAP, lines.length * HIGH];
  }

  free([x, y, w, h]) {
    const { left, right, top, bottom } = this.box;
    if (x < left - GAP || x + w > right + GAP || y < top || y + h > bottom + GAP) return false;
    const touches = ([a, b, c, d]) => x < a + c && a < x + w && y < b + d && b < y + h;
    return !this.taken.some(touches);
  }

  /** Puts the first of several ways that touches nothing; `null` where none is free. */
  put(place, tries) {
    for (const one of tries) {
      const frame = this.frameOf(one);
      const bare = one.tab ? frame : [frame[0], frame[1], frame[2], frame[3]];
      if (!this.free(bare)) continue;
      if (!one.tab && this.points?.some(([px, py]) => px > frame[0] && px < frame[0] + frame[2] && py > frame[1] && py < frame[1] + frame[3])) continue;
      this.taken.push(bare);
      const lines = Array.isArray(one.text) ? one.text : [one.text];
      const text = svg("text", { x: one.x, y: one.y, class: `label ${one.class} ${one.anchor}${one.strong ? " strong" : ""}` }, ...lines.map((words, i) => svg("tspan", { x: one.x, dy: i === 0 ? 0 : HIGH }, words)));
      if (one.tab) place.append(svg("rect", { x: frame[0] - 2, y: frame[1] - 2, width: frame[2] + 4, height: frame[3] + 4, class: "tab" }));
      place.append(text);
      return text;
    }
    return null;
  }
}
