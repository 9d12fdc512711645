// Elements. Every text goes in as text: nothing from a file or a header is ever read as markup.

export const $ = (id) => document.getElementById(id);

function put(element, attributes, children) {
  for (const [key, value] of Object.entries(attributes)) {
    if (value === undefined || value === null || value === false) continue;
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else element.setAttribute(key, value === true ? "" : String(value));
  }
  element.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}

export const el = (name, attributes = {}, ...children) => put(document.createElement(name), attributes, children);
export const svg = (name, attributes = {}, ...children) => put(document.createElementNS("http://www.w3.org/2000/svg", name), attributes, children);

export const show = (element, visible) => { element.hidden = !visible; };

/** Words for those who hear the page. */
export const unseen = (text) => el("span", { class: "unseen" }, text);

export const button = (words, onclick, attributes = {}) => el("button", { type: "button", onclick, ...attributes }, words);

export function table(head, rows, caption, attributes = {}) {
  return el("table", attributes,
    caption ? el("caption", {}, caption) : null,
    el("thead", {}, el("tr", {}, ...head.map((cell) => (cell === "" ? el("td", {}) : el("th", { scope: "col" }, cell))))),
    el("tbody", {}, ...rows.map(([first, ...cells]) =>
      el("tr", {}, el("th", { scope: "row" }, first), ...cells.map((cell, i) => el("td", { "data-head": typeof head[i + 1] === "string" ? head[i + 1] : null }, cell))))));
}

/** A table twin under a figure; whether it is open is remembered. */
export function twin(id, make) {
  const place = el("div", { class: "wide" });
  const box = el("details", { class: "twin", id: `twin-${id}` }, el("summary", {}, "the same as a table"), place);
  const key = `subwell-twin-${id}`;
  const fill = () => { if (box.open) place.replaceChildren(make()); };
  box.open = localStorage.getItem(key) === "open";
  box.addEventListener("toggle", () => { localStorage.setItem(key, box.open ? "open" : "shut"); fill(); });
  return { box, fill };
}

/** Gives words away as a file. */
export function download(name, kind, words) {
  const link = el("a", { href: URL.createObjectURL(new Blob([words], { type: kind })), download: name });
  link.click();
  URL.revokeObjectURL(link.href);
}
