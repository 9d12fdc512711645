// The night while it runs, and the morning after: lights of a folder against the plan.

import { $, button, el, svg, table, twin } from "./dom.js";
import { clock, clockOf, counted, date, fiveDigits, fixed, hourOf, hours, later, number, percent, plain, rounded, united } from "./format.js";
import { doubts } from "./answer.js";
import { fillOf, filterLetter, filterName, lineOf } from "./filters.js";
import { folder } from "./files.js";
import { inWordsOfThePage } from "./labels.js";
import { draft, night, read as wordOf, same, set } from "./night.js";
import { reportButton, stem } from "./report.js";
import { here } from "./route.js";
import { ask } from "./server.js";
import { Running, underWay } from "./watch.js";

/** Lanes of the picture: what is drawn of a sub, and what was foretold. */
const LANES = [["target, degrees high", (sub) => sub.target_altitude_deg, () => undefined], ["sky, e⁻/s in a pixel", (sub) => sub.sky_e_per_s?.value, (sub) => sub.predicted_sky_e_per_s], ["width of stars, pixels", (sub) => sub.fwhm_px?.value, (sub) => sub.predicted_fwhm_px], ["starlight, of the best", (sub) => (sub.starlight ? Math.min(1, sub.starlight.value) : undefined), () => undefined]];
const TELL = "subwell-tell-goals";
/** A longer pause between subs, in hours, is a gap in the picture. */
const PAUSE_H = 0.3;

const running = new Running(() => { tell(); if (here().place === "morning") draw(); state(); });
let once = false;

const snrOf = ({ snr, goal_snr: goal }) => (snr ? `${rounded(snr.value, 3)}${goal ? ` of ${rounded(goal, 3)}` : ""}` : "");
const leftOf = (left) => (left === null || left === undefined ? "" : left <= 0 ? "reached" : `${hours(3600 * left)} left`);

/** The shortest finding of the place. */
function state() {
  const words = running.running ? (running.newest ? `running: ${counted(running.count, "sub")}, the last at ${running.newest.when ? clockOf(running.newest.when) : "no time"}` : "running: no sub yet")
    : running.review ? `${running.review.subs_kept} of ${running.review.subs.length} worth keeping` : "none yet";
  $("state-morning")?.replaceChildren(words);
}

/** Where the target stands through the night of the lights: what is still to come. */
let course = null, courseOf = null;
async function follow(subs) {
  const when = subs.find((sub) => sub.when && Number.isFinite(sub.target_altitude_deg))?.when;
  if (!when) return;
  // Before noon the evening was yesterday's.
  const day = when.slice(0, 10), evening = Number(when.slice(11, 13)) < 12 ? later(day, -1) : day;
  if (courseOf === evening) return;
  courseOf = evening;
  try {
    const found = await ask("POST", "/api/course", draft([{ key: ["goal", "date"], value: evening }]));
    course = found.course?.target_deg ? found.course : null;
    if (here().place === "morning") draw();
  } catch { course = null; }
}

/** The browser's own word, once for each goal, where that was asked for. */
function tell() {
  if (localStorage.getItem(TELL) !== "yes" || typeof Notification === "undefined" || Notification.permission !== "granted") return;
  for (const word of running.words.filter((one) => one.about === "goal-reached" && !one.told)) { word.told = true; new Notification(plain(word.text)); }
}

const began = (path, at) => { once = at === "judge"; running.begin(path, draft(), once).catch((error) => { running.problem = error; running.running = false; draw(); }); };

function choice() {
  const folders = folder.folders.filter(({ path }) => path !== "." || folder.folders.length === 1);
  const rows = folders.map(({ path, frames }) => [path === "." ? "this folder" : plain(path), counted(frames, "file"), el("span", { class: "acts" },
    button("watch it fill", () => began(path, "watch"), { class: "act", "data-watch": path }), " ", button("judge what is there", () => began(path, "judge"), { class: "act", "data-judge": path }))]);
  return [el("h1", { tabindex: -1 }, night.path ? "Which lights?" : "No night yet"),
    night.path ? el("p", {}, "Lights of a folder are held against the night as it is written here. Nothing is written into the folder, moved or deleted.") : el("p", {}, "A night is needed first: ", el("a", { href: "#/start" }, "begin with what you have"), "."),
    !night.path ? null : rows.length > 0 ? table(["folder", "holds", ""], rows, null, { class: "cards frames" }) : el("p", {}, "No frames lie beside this page yet. Let your capture program write into a folder beside the night file; it appears here."),
    problem()];
}

const problem = () => (running.problem ? el("div", { class: "problem", role: "alert" }, el("p", {}, inWordsOfThePage(running.problem.message)), running.problem.hint ? el("p", { class: "small" }, inWordsOfThePage(running.problem.hint)) : null) : null);

// While it runs.

function stacks() {
  return table(["filter", "in the stack", "signal to noise", "left at this rate"], running.stacks.map((stack, i) => [filterName(stack.filter),
    `${stack.subs_kept} of ${stack.subs}, ${hours(3600 * stack.hours_kept)}`,
    stack.snr ? el("span", {}, number(stack.snr.value, `stacks/${i}/snr/value`, rounded(stack.snr.value, 3), "stacks"), stack.goal_snr ? ` of ${rounded(stack.goal_snr, 3)}` : "") : "–",
    leftOf(stack.hours_left) || "–"]), null, { class: "cards numbers" });
}

function lastSubs() {
  const cell = (value, digits) => (value === undefined || value === null ? "–" : rounded(value, digits));
  return table(["", "filter", "sky, e⁻/s", "foretold", "stars, px", "light", "adds"], running.subs.map((sub) => [sub.when ? clockOf(sub.when) : "–", filterName(sub.filter), cell(sub.sky_e_per_s?.value, 3), cell(sub.predicted_sky_e_per_s, 3), cell(sub.fwhm_px?.value, 2),
    sub.starlight ? percent(100 * Math.min(1, sub.starlight.value)) : "–", sub.keep ? cell(sub.adds_snr, 2) : "better left out"]), null, { class: "cards numbers" });
}

function live() {
  const first = running.stacks.find((stack) => stack.snr && stack.goal_snr && stack.snr.value < stack.goal_snr) ?? running.stacks[0];
  const heading = !running.newest ? `Waiting for the first light in ${running.folder === "." ? "this folder" : plain(running.folder)}` : once ? "Judging the lights" : first ? `${filterName(first.filter)}: ${[snrOf(first), leftOf(first.hours_left)].filter(Boolean).join(", ")}` : "The night runs";
  const asked = localStorage.getItem(TELL) === "yes";
  return [el("h1", { tabindex: -1 }, heading),
    running.words.length > 0 ? el("ul", { id: "words" }, ...running.words.map((word) => el("li", {}, inWordsOfThePage(word.text)))) : null,
    running.stacks.length > 0 ? stacks() : null,
    figure(running.all), running.subs.length > 0 ? el("section", {}, el("h2", {}, running.subs.length === 1 ? "The last sub" : `The last ${running.subs.length} subs`), lastSubs()) : null,
    problem(),
    el("p", { class: "acts" }, button("end the night", () => running.end(), { class: "act", id: "end-night" }), " ",
      button(asked ? "do not tell me of goals" : "tell me once when a goal is reached", async () => {
        if (!asked && typeof Notification !== "undefined") await Notification.requestPermission();
        localStorage.setItem(TELL, asked ? "no" : "yes");
        draw();
      }, { class: "act", "aria-pressed": String(asked) })),
    el("p", { class: "quiet small" }, "A sub is held against the best of its own night so far: what is said of it can change until the morning.")];
}

// The morning.

function finding(review) {
  const kept = `${review.subs_kept} of ${counted(review.subs.length, "sub")} ${review.subs.length === 1 ? "is" : "are"} worth keeping`;
  const more = review.hours_to_goal;
  return more === null || more === undefined ? kept : more <= 0 ? `${kept}; the goal is reached` : `${kept}; ${hours(3600 * more)} more will do`;
}

function filters(review) {
  return table(["filter", "kept", "hours", "signal to noise", "sky, e⁻/s", "foretold", "stars, px"], review.filters.map((filter, i) => {
    const at = (key) => `filters/${i}/${key}`;
    const est = (key, digits) => (filter[key] ? number(filter[key].value, at(`${key}/value`), rounded(filter[key].value, digits), "review") : "–");
    return [filterName(filter.name), el("span", {}, number(filter.subs_kept, at("subs_kept"), String(filter.subs_kept), "review"), ` of ${filter.subs}`), number(filter.hours_kept, at("hours_kept"), fixed(filter.hours_kept, 2), "review"),
      el("span", {}, est("achieved_snr", 3), filter.goal_snr ? ` of ${rounded(filter.goal_snr, 3)}` : ""), est("sky_e_per_s", 3), est("predicted_sky_e_per_s", 3), filter.median_fwhm_px === null ? "–" : number(filter.median_fwhm_px, at("median_fwhm_px"), rounded(filter.median_fwhm_px, 2), "review")];
  }), null, { class: "cards numbers" });
}

/** What the command does by a flag, the page does by a button. */
const byButton = (line) => line.replace("Write it back with --write, and the plan uses it", "Plan with it: the button is below").replace("Write this one back with --write if", "Plan with this one, by the button below, if");

const evenings = (stacks) => [...new Set(stacks.map(({ evening }) => evening))].map(date).join(", ");

/** What the night file can learn of it: the sky that was measured, and the hours that are in hand. */
function taken(review) {
  const sky = review.sky_to_write, stacks = running.inHand, acts = [];
  if (sky) {
    const { e_per_s: rate, filter, plane, altitude_deg: altitude } = sky;
    const own = { e_per_s: fiveDigits(rate), filter, plane, ...(altitude === null ? {} : { altitude_deg: Math.round(10 * altitude) / 10 }) };
    acts.push(same(wordOf(["site", "sky"]), own) ? el("p", {}, "The night is planned with the sky that was measured.")
      : el("p", { class: "acts" }, button("plan with the measured sky", () => { set([[["site", "sky"], own]]); draw(); }, { class: "act", id: "take-sky" }), ` ${rounded(rate.value, 3)}\u00a0e⁻/s in a pixel behind ${filterName(filter)}`));
  }
  if (stacks.length > 0) {
    const again = (one) => stacks.some((stack) => stack.evening === one.evening && stack.filter === one.filter);
    const whole = [...(wordOf(["goal", "already"]) ?? []).filter((one) => !again(one)), ...stacks];
    acts.push(same(wordOf(["goal", "already"]), whole) ? el("p", {}, `The hours of ${evenings(stacks)} are counted as in hand.`)
      : el("p", { class: "acts" }, button("count these hours as in hand", () => { set([[["goal", "already"], whole]]); draw(); }, { class: "act", id: "take-hours" }), ` ${stacks.map((stack) => `${stack.filter ? `${filterName(stack.filter)}, ` : ""}worth ${hours(3600 * stack.hours)} of the plan`).join("; ")}. What is left is planned then`));
  }
  if (acts.length === 0) return null;
  return el("section", { id: "take" }, el("h2", {}, "For the next plan"), ...acts, el("p", { class: "quiet small" }, "It changes the night as a draft; save it there, or take it back."));
}

function after(review) {
  const list = el("ul", { id: "morning-doubts" });
  doubts(review.caveats, list);
  const left = review.subs.filter((sub) => !sub.keep);
  return [el("h1", { tabindex: -1 }, finding(review)), filters(review), figure(review.subs),
    el("section", {}, el("h2", {}, "What the night teaches"), el("ul", { id: "teaches" }, ...review.advice.map((line) => el("li", {}, plain(inWordsOfThePage(byButton(line))))))),
    left.length > 0 ? el("details", {}, el("summary", {}, `${counted(left.length, "sub")} that the stack is better without`), el("ul", {}, ...left.map((sub) => el("li", {}, `${plain(sub.file)}: ${plain(sub.why)}`)))) : null,
    review.left_out.length > 0 ? el("details", {}, el("summary", {}, `${counted(review.left_out.length, "file")} could not be judged`), el("ul", {}, ...review.left_out.map((file) => el("li", {}, `${plain(file.file)}: ${plain(file.reason)}`)))) : null,
    review.caveats.length > 0 ? el("section", {}, el("h2", {}, "Doubts"), list) : null,
    taken(review),
    el("p", { class: "acts" }, ...reportButton("review", () => `${stem()}-review`), " ", button("other lights", () => { running.review = null; running.all = []; draw(); }, { class: "act" }))];
}

// The lanes of a night: filters, sky, star width, starlight on one axis of time.

/** From when to when which filter was shot, of subs that are kept. */
function shotIn(timed) {
  const runs = [];
  for (const sub of timed.filter(({ keep }) => keep)) {
    const last = runs.at(-1), at = sub.hours_since_first, end = at + (sub.exposure_s ?? 0) / 3600;
    if (last && last[2] === sub.filter && at - last[1] < PAUSE_H) last[1] = end; else runs.push([at, end, sub.filter]);
  }
  return runs;
}

let watched = null;
/** The sub that is read, by its file, and whether the hand was on it: both outlive a new drawing. */
let read = null, held = false;
function figure(subs) {
  const timed = subs.filter((sub) => Number.isFinite(sub.hours_since_first)).sort((a, b) => a.hours_since_first - b.hours_since_first);
  if (timed.length < 2) return null;
  const box = el("div", { class: "picture-box", id: "night-lanes" }), reading = el("p", { class: "reading" });
  const draw = () => {
    const width = Math.round(box.clientWidth);
    if (width < 60) return;
    const left = 48, right = 10, high = width < 600 ? 74 : 96, top = 26, gap = 24;
    const evening = course && timed.every((sub) => sub.when) ? course.date : null;
    const lanes = LANES.filter(([, of]) => timed.some((sub) => Number.isFinite(of(sub))));
    const height = top + lanes.length * (high + gap) + 18;
    const usable = evening ? course.usable_h : [];
    const zero = evening ? hourOf(timed[0].when, evening) : 0;
    // What is to come has its place already.
    const from0 = Math.min(0, ...usable.map(([from]) => from - zero)), last = Math.max(timed.at(-1).hours_since_first, 1 / 60, ...usable.map(([, to]) => to - zero));
    const place = (hour) => left + ((hour - from0) / (last - from0)) * (width - left - right);
    const x = (sub) => place(sub.hours_since_first);
    const marks = svg("g", { "aria-hidden": "true" });
    // Which filter, when.
    for (let from = 0; from < timed.length;) {
      let to = from;
      while (to + 1 < timed.length && timed[to + 1].filter === timed[from].filter) to += 1;
      const a = x(timed[from]) - 3, b = x(timed[to]) + 3;
      marks.append(svg("rect", { x: a, y: 4, width: Math.max(4, b - a), height: 12, fill: fillOf(timed[from].filter), class: `block ${lineOf(timed[from].filter)}` }));
      if (b - a > 26) marks.append(svg("rect", { x: (a + b) / 2 - 12, y: 3, width: 24, height: 14, class: "tab" }), svg("text", { x: (a + b) / 2, y: 14, class: "tick middle" }, filterLetter(timed[from].filter)));
      from = to + 1;
    }
    lanes.forEach(([name, of, foretold], k) => {
      const base = top + k * (high + gap) + high;
      const curve = k === 0 && evening && lanes[0] === LANES[0] ? usable.map(([from, to]) => course.target_deg.map((deg, m) => [course.begins_h + m / 60, deg]).filter(([hour]) => hour >= from && hour <= to)) : [];
      const values = timed.flatMap((sub) => [of(sub), foretold(sub)]).concat(curve.flat().map(([, deg]) => deg)).filter(Number.isFinite);
      const most = 1.08 * Math.max(...values);
      const y = (value) => base - (value / most) * (high - 14);
      marks.append(svg("path", { d: `M${left} ${base}H${width - right}`, class: "axis" }), svg("text", { x: 0, y: base - high + 8, class: "name" }, `↑ ${name}`), svg("text", { x: left - 6, y: base, class: "tick end" }, "0"), svg("text", { x: left - 6, y: y(most / 1.08) + 4, class: "tick end" }, rounded(most / 1.08, 2)));
      // What is in the stack is filled, what is to come outlined.
      const under = (points) => `${points.map(([hour, deg], i) => `${i === 0 ? "M" : "L"}${place(hour - zero).toFixed(1)} ${y(deg).toFixed(1)}`).join("")}V${base}H${place(points[0][0] - zero).toFixed(1)}Z`;
      if (curve.length > 0) {
        const now = timed.at(-1).hours_since_first + zero;
        for (const [from, to, filter] of shotIn(timed)) {
          const points = curve.flat().filter(([hour]) => hour >= from + zero - 0.02 && hour <= to + zero + 0.02);
          if (points.length > 1) marks.append(svg("path", { d: under(points), fill: fillOf(filter), class: `block filled ${lineOf(filter)}` }));
        }
        for (const span of curve) {
          const points = span.filter(([hour]) => hour >= now);
          if (points.length > 1) marks.append(svg("path", { d: under(points), class: "to-come" }));
        }
      }
      for (const span of curve) if (span.length > 1) marks.append(svg("path", { d: span.filter((_, m) => m % 4 === 0 || m === span.length - 1).map(([hour, deg], i) => `${i === 0 ? "M" : "L"}${place(hour - zero).toFixed(1)} ${y(deg).toFixed(1)}`).join(""), class: "target" }));
      const told = timed.filter((sub) => Number.isFinite(foretold(sub)));
      if (told.length > 1) marks.append(svg("path", { d: told.map((sub, i) => `${i === 0 ? "M" : "L"}${x(sub).toFixed(1)} ${y(foretold(sub)).toFixed(1)}`).join(""), class: "target" }));
      for (const sub of timed) {
        if (!Number.isFinite(of(sub))) continue;
        const [px, py] = [x(sub), y(of(sub))];
        marks.append(sub.keep ? svg("circle", { cx: px, cy: py, r: timed.length > 120 ? 1.6 : 2.6, class: "dot" }) : svg("path", { d: `M${px - 3} ${py - 3}l6 6m0 -6l-6 6`, class: "likely" }));
      }
    });
    marks.append(svg("text", { x: left, y: height - 3, class: "tick" }, evening ? clock(zero + from0) : timed[0].when ? clockOf(timed[0].when) : "0 h"), svg("text", { x: width - right, y: height - 3, class: "tick end" }, evening ? `${clock(zero + last)} local time` : timed.at(-1).when ? `${clockOf(timed.at(-1).when)} local time` : `${fixed(last, 1)} h`));
    const ruler = svg("path", { class: "ruler" });
    const slider = svg("g", { role: "slider", tabindex: 0, class: "reader", id: "lanes-slider", "aria-label": "subs of the night", "aria-valuemin": 1, "aria-valuemax": timed.length }, svg("rect", { x: left, y: 0, width: width - left - right, height, class: "reach" }), ruler);
    const known = timed.findIndex((sub) => sub.file === read);
    let at = known < 0 ? timed.length - 1 : known;
    const say = (to) => {
      at = Math.max(0, Math.min(timed.length - 1, to));
      const sub = timed[at];
      // The newest one stays the newest.
      read = at === timed.length - 1 ? null : sub.file;
      ruler.setAttribute("d", `M${x(sub)} 2V${height - 18}`);
      const parts = [[sub.when ? clockOf(sub.when) : "", filterName(sub.filter)], ["sky", sub.sky_e_per_s ? united(rounded(sub.sky_e_per_s.value, 3), "e⁻/s") : "unseen"], ["stars", sub.fwhm_px ? united(rounded(sub.fwhm_px.value, 2), "px") : "none"], ["light", sub.starlight ? percent(100 * Math.min(1, sub.starlight.value)) : "unknown"], ["worth", percent(sub.worth_percent)]];
      reading.replaceChildren(...parts.flatMap(([name, value]) => [`${name} `, el("strong", {}, value), " "]), sub.keep ? "" : "✕ better left out");
      slider.setAttribute("aria-valuenow", at + 1);
      slider.setAttribute("aria-valuetext", `${parts.map((part) => part.join(" ")).join(", ")}${sub.keep ? "" : ", better left out"}`);
    };
    slider.addEventListener("keydown", (event) => { const to = { ArrowLeft: at - 1, ArrowRight: at + 1, PageUp: at - 10, PageDown: at + 10, Home: 0, End: timed.length - 1 }[event.key]; if (to !== undefined) { event.preventDefault(); say(to); } });
    const picture = svg("svg", { viewBox: `0 0 ${width} ${height}`, width, height, class: "picture", role: "group", "aria-labelledby": "lanes-h" }, marks, slider);
    picture.addEventListener("pointermove", (event) => { const px = event.clientX - picture.getBoundingClientRect().left; say(timed.reduce((best, sub, i) => (Math.abs(x(sub) - px) < Math.abs(x(timed[best]) - px) ? i : best), 0)); });
    held = held || document.activeElement?.id === "lanes-slider";
    box.replaceChildren(picture);
    if (held) slider.focus({ preventScroll: true });
    held = false;
    say(at);
  };
  watched?.disconnect();
  watched = new ResizeObserver(draw);
  watched.observe(box);
  const own = twin("lanes", () => table(["", "filter", "sky, e⁻/s", "foretold", "stars, px", "light", "worth", ""], timed.map((sub) => [sub.when ? clockOf(sub.when) : "–", filterName(sub.filter), sub.sky_e_per_s ? rounded(sub.sky_e_per_s.value, 3) : "–", sub.predicted_sky_e_per_s ? rounded(sub.predicted_sky_e_per_s, 3) : "–", sub.fwhm_px ? rounded(sub.fwhm_px.value, 2) : "–", sub.starlight ? percent(100 * Math.min(1, sub.starlight.value)) : "–", percent(sub.worth_percent), sub.keep ? "" : "better left out"])));
  own.fill();
  return el("section", { class: "figure-place" }, el("h2", { id: "lanes-h" }, "Sub by sub: ● kept, ✕ better left out, the line as foretold"), reading, box, own.box);
}

function draw() {
  follow(running.running ? running.all : running.review?.subs ?? []);
  const place = $("place-morning"), focused = document.activeElement?.id;
  place.replaceChildren(...(running.running ? live() : running.review ? after(running.review) : choice()).filter(Boolean));
  // The lanes are drawn when their width is known.
  held = focused === "lanes-slider";
  if (focused) $(focused)?.focus({ preventScroll: true });
}

export function show() { draw(); }

export function start() {
  state();
  // A watch goes on while a page is loaded anew.
  underWay().then((document) => { if (document.running) running.listen(document.folder, 0); }).catch(() => {});
}
