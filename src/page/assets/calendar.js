// The evening: a month with the Moon's face in each cell, and the hours to the goal if begun then.

import { button, el, show } from "./dom.js";
import { asDay, date as dateWords, hours, isoOf, later, month } from "./format.js";
import { draft, read, set } from "./night.js";
import { closeWord } from "./route.js";
import { moonIcon } from "./moon.js";
import { ask } from "./server.js";
import { startsKnown } from "./starts.js";

const WEEK = [["Monday", "Mo"], ["Tuesday", "Tu"], ["Wednesday", "We"], ["Thursday", "Th"], ["Friday", "Fr"], ["Saturday", "Sa"], ["Sunday", "Su"]];

const today = () => { const now = new Date(); return isoOf(Date.UTC(now.getFullYear(), now.getMonth(), now.getDate())); };
const firstOf = (iso) => `${iso.slice(0, 8)}01`;
/** The Monday on or before a date. */
const monday = (iso) => later(iso, -((new Date(asDay(iso)).getUTCDay() + 6) % 7));

export function calendar() {
  const own = read(["goal", "date"]);
  let at = own ?? today();
  const box = el("div", { class: "calendar" });
  const choose = (iso) => { set([[["goal", "date"], iso]]); closeWord(); };

  const draw = (focus) => {
    const first = monday(firstOf(at));
    const dates = Array.from({ length: 42 }, (_, i) => later(first, i)).filter((iso, i, all) => i < 35 || all.slice(35).some((one) => one.slice(0, 7) === at.slice(0, 7)));
    const cells = dates.map((iso) => el("button", {
      type: "button", class: `day${iso.slice(0, 7) === at.slice(0, 7) ? "" : " other"}`, tabindex: iso === at ? 0 : -1, "data-date": iso, "aria-pressed": String(iso === own), "aria-label": dateWords(iso, { year: "always" }),
      onclick: () => choose(iso),
    }, el("span", { class: "n" }, String(Number(iso.slice(8)))), el("span", { class: "face" }), el("span", { class: "h" })));
    const rows = [];
    for (let i = 0; i < cells.length; i += 7) rows.push(el("tr", {}, ...cells.slice(i, i + 7).map((cell) => el("td", {}, cell))));
    const turn = (days) => { at = days; draw(true); };
    const step = (months) => { const there = new Date(asDay(firstOf(at))); there.setUTCMonth(there.getUTCMonth() + months); return isoOf(there.getTime()); };
    box.replaceChildren(
      el("div", { class: "turn" }, button("‹", () => turn(step(-1)), { "aria-label": "the month before" }), el("strong", { "aria-live": "polite" }, month(at)), button("›", () => turn(step(1)), { "aria-label": "the month after" })),
      el("table", { class: "month" }, el("thead", {}, el("tr", {}, ...WEEK.map(([name, short]) => el("th", { scope: "col", abbr: name }, short)))), el("tbody", {
        onkeydown: (event) => {
          const days = { ArrowLeft: -1, ArrowRight: 1, ArrowUp: -7, ArrowDown: 7 }[event.key];
          if (days !== undefined) at = later(at, days);
          else if (event.key === "PageUp") at = step(-1);
          else if (event.key === "PageDown") at = step(1);
          else if (event.key === "Home") at = monday(at);
          else if (event.key === "End") at = later(monday(at), 6);
          else return;
          event.preventDefault();
          draw(true);
        },
      }, ...rows)),
      el("p", { class: "note" }, "The Moon’s face at midnight", el("span", { class: "with-hours" }, "; hours to the goal if you begin that evening"), ". ",
        own ? button("no date", () => choose(null), { class: "link" }) : button("tonight", () => choose(today()), { class: "link" })));
    if (focus) box.querySelector(`[data-date="${at}"]`)?.focus({ preventScroll: true });
    fill(dates[0]);
  };

  const cellOf = (iso) => box.querySelector(`[data-date="${iso}"]`);
  async function fill(from) {
    show(box.querySelector(".with-hours"), false);
    try {
      const { moons } = await ask("POST", "/api/moons", { night: draft(), from });
      for (const { date, illuminated_percent: lit, waxing } of moons) cellOf(date)?.querySelector(".face").replaceChildren(moonIcon(lit, waxing, 14));
      const starts = startsKnown();
      for (const { date, wall_clock_s: s } of starts ?? []) if (s !== null) cellOf(date)?.querySelector(".h").replaceChildren(hours(s));
      show(box.querySelector(".with-hours"), Boolean(starts));
    } catch { /* the plan says what is wrong with the night */ }
  }
  draw(false);
  return box;
}
