// How numbers, hours and dates are written: one minus, one unit style, one date style.

import { el } from "./dom.js";

const NBSP = "\u00a0";
const DAYS = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];
const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
const LONG_MONTHS = ["January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December"];
/** Units that stand close to their number. */
const CLOSE = ["°", "″", "′", ""];

/** A text as people read it: no control signs, nothing that turns the reading direction of the rest. */
export const plain = (text) => String(text).replace(/[\u0000-\u001f\u007f-\u009f\u202a-\u202e\u2066-\u2069]+/g, " ").trim();

const minus = (text) => String(text).replace(/^-/, "−");
/** Thousands are set apart from five digits on. */
const spaced = (text) => String(text).replace(/^(−?\d{2,})(\d{3})(?=$|\.)/, "$1\u2009$2");

/** A number with so many decimals. */
export const fixed = (value, decimals = 0) => spaced(minus(Number(value).toFixed(decimals)));

/** A number with so many digits that count. */
export function rounded(value, digits) {
  if (!Number.isFinite(value) || value === 0) return "0";
  const places = digits - 1 - Math.floor(Math.log10(Math.abs(value)));
  if (places >= 0) return spaced(minus(value.toFixed(Math.min(places, 12))));
  const unit = 10 ** -places;
  return spaced(minus(Math.round(value / unit) * unit));
}

/** A number as it was written, with our minus. */
export const written = (value) => spaced(minus(typeof value === "number" ? Number(value.toPrecision(10)) : value));

export const united = (text, unit) => (unit ? `${text}${CLOSE.includes(unit) ? "" : NBSP}${unit}` : `${text}`);

/** The length of a sub. */
export function seconds(value) {
  if (value < 1) return united(rounded(value, 2), "s");
  if (value < 10) return united(minus(+value.toFixed(1)), "s");
  return united(fixed(value), "s");
}

/** Time on the clock: minutes below an hour, one decimal below twenty hours. */
export function hours(value) {
  const h = value / 3600;
  if (value < 60) return seconds(value);
  if (h < 1 && Math.round(h * 60) < 60) return united(fixed(h * 60), "min");
  return united(fixed(h, h < 19.95 ? 1 : 0), "h");
}

/** Hours in a table with its sum: one decimal throughout. */
export const inHours = (value) => fixed(value / 3600, 1);

export const percent = (value) => united(value !== 0 && Math.abs(value) < 9.95 ? fixed(value, 1) : fixed(value), "%");

/** The same without decimals. */
export const wholePercent = (value) => united(fixed(value), "%");

/** The words as the beginning of a sentence. */
export const capital = (words) => words.charAt(0).toUpperCase() + words.slice(1);

export const counted = (count, what) => (count === 1 ? `1 ${what}` : `${count} ${what}s`);
const SMALL = ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"];
export const inWords = (count) => SMALL[count] ?? String(count);

const parts = (iso) => iso.split("T")[0].split("-").map(Number);
export const asDay = (iso) => { const [y, m, d] = parts(iso); return Date.UTC(y, m - 1, d); };
export const isoOf = (day) => new Date(day).toISOString().slice(0, 10);
export const later = (iso, days) => isoOf(asDay(iso) + days * 86_400_000);

/** `Mon 19 Oct 2026`; the year only where it is not this one. */
export function date(iso, { weekday = true, year = "other" } = {}) {
  const found = /^\d{4}-\d\d-\d\d/.test(iso ?? "");
  if (!found) return plain(iso);
  const at = new Date(asDay(iso));
  const own = at.getUTCFullYear();
  const words = [weekday ? DAYS[at.getUTCDay()] : null, at.getUTCDate(), MONTHS[at.getUTCMonth()]];
  if (year === "always" || (year === "other" && own !== new Date().getFullYear())) words.push(own);
  return words.filter((word) => word !== null).join(NBSP);
}
/** `Mon 19`, where the month is clear. */
export const shortDate = (iso) => { const at = new Date(asDay(iso)); return `${DAYS[at.getUTCDay()]}${NBSP}${at.getUTCDate()}`; };
export const month = (iso) => { const at = new Date(asDay(iso)); return `${LONG_MONTHS[at.getUTCMonth()]} ${at.getUTCFullYear()}`; };

/** The clock of an hour after midnight: 25.5 is 01:30. */
export function clock(hour) {
  const minutes = Math.round((((hour % 24) + 24) % 24) * 60) % 1440;
  return `${String(Math.floor(minutes / 60)).padStart(2, "0")}:${String(minutes % 60).padStart(2, "0")}`;
}
/** The clock of a local time `2026-10-12T18:44`. */
export const clockOf = (stamp) => plain(stamp.split("T")[1] ?? stamp);
/** Its hours after the midnight before an evening. */
export function hourOf(stamp, evening) {
  const [h, m] = (stamp.split("T")[1] ?? "0:0").split(":").map(Number);
  return (asDay(stamp) - asDay(evening)) / 3_600_000 + h + m / 60;
}

/** Dates inside sentences of the program. */
export const datesInWords = (text) => text.replace(/\b\d{4}-\d\d-\d\d\b/g, (iso) => date(iso));

/** A number of a document: what is shown, the value itself, and where in the document it stands. */
export const number = (value, path, text, of = "plan") => el("data", { value, "data-path": path, "data-of": of === "plan" ? null : of }, text);

/** A measured value as a night file holds it: with five digits. */
export const fiveDigits = ({ value, uncertainty }) => ({ value: Number(value.toPrecision(5)), uncertainty: Number(uncertainty.toPrecision(5)) });
