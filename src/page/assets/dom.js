// Elements and numbers. Every text goes in as text: nothing from a file or a header is ever read as markup.

export const $ = (id) => document.getElementById(id);

export function el(name, attributes = {}, ...children) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === undefined || value === null || value === false) continue;
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else element.setAttribute(key, value === true ? "" : String(value));
  }
  element.append(...children.filter((child) => child !== null && child !== undefined));
  return element;
}

export function svg(name, attributes = {}, ...children) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, String(value));
  element.append(...children);
  return element;
}

export const show = (element, visible) => { element.hidden = !visible; };

/** A text as people read it: no control signs, nothing that turns the reading direction of the rest. */
export const plain = (text) => String(text).replace(/[\u0000-\u001f\u007f-\u009f\u202a-\u202e\u2066-\u2069]/g, "\ufffd");

/** A number with so many digits that count. */
export function rounded(value, digits) {
  if (!Number.isFinite(value) || value === 0) return "0";
  const places = digits - 1 - Math.floor(Math.log10(Math.abs(value)));
  if (places >= 0) return value.toFixed(Math.min(places, 12)).replace("-", "−");
  const unit = 10 ** -places;
  return String(Math.round(value / unit) * unit).replace("-", "−");
}

/** A length of time in the unit a person would say. */
export function duration(seconds) {
  if (seconds < 1) return `${rounded(seconds, 2)}\u00a0s`;
  if (seconds < 10) return `${+seconds.toFixed(1)}\u00a0s`;
  if (seconds < 600) return `${Math.round(seconds)}\u00a0s`;
  if (seconds < 5400) return `${Math.round(seconds / 60)}\u00a0min`;
  return `${(seconds / 3600).toFixed(1)}\u00a0h`;
}

export const counted = (count, what) => (count === 1 ? `1 ${what}` : `${count} ${what}s`);

/** A number of the plan: what is shown, the value itself, and where in the plan's document it stands. */
export const number = (value, path, text) => el("data", { value, "data-path": path }, text);

export function table(head, rows, caption) {
  return el("table", {},
    caption ? el("caption", {}, caption) : null,
    el("thead", {}, el("tr", {}, ...head.map((cell) => el("th", { scope: "col" }, cell)))),
    el("tbody", {}, ...rows.map(([first, ...cells]) =>
      el("tr", {}, el("th", { scope: "row" }, first), ...cells.map((cell) => el("td", {}, cell))))));
}

export function refuse(place, error) {
  place.replaceChildren(plain(error.message), error.hint ? el("span", { class: "hint" }, plain(error.hint)) : "");
  show(place, true);
}
