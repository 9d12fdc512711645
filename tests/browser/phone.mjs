// The planner as a file on a phone: no program, no network, red; its numbers are the program's.

import { execFileSync } from "node:child_process";
import { readFileSync, statSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { pathToFileURL } from "node:url";
import { THEMES, coloured, must, overflow, small, violations, watched } from "./browser.mjs";
import { GOAL_MS, latency, open, settled, text, word } from "./planner.mjs";

const CHANGES = 200;
const CLOSE = 1e-9;
const LARGEST = 1_500_000;
/** Words that are changed by chance, each between two values. */
const WORDS = {
  "goal.snr": [3, 25], "goal.patch_arcsec": [2, 20], "target.surface_brightness_mag": [20, 23.5], "optics.aperture_mm": [60, 200], "optics.focal_length_mm": [200, 900],
  "mount.longest_sub_s": [20, 600], "mount.settle_s": [5, 60], "mount.between_subs_s": [0.5, 10], "site.seeing_arcsec": [1.5, 5], "goal.clear_hours_per_night": [2, 8],
};

/** The same numbers each time (a multiplicative generator of Lehmer's, with the modulus and factor of Park and Miller 1988). */
function chance(seed) {
  let state = seed;
  return () => { state = (state * 48_271) % 2_147_483_647; return state / 2_147_483_647; };
}

const place_ = (page) => page.evaluate(() => location.hash.split("/")[1]);
const to = async (page, place) => { await page.evaluate((own) => { location.hash = `#/${own}`; }, place); await page.waitForFunction((own) => !document.querySelector(`#place-${own}`).hidden, {}, place); };

async function begun(browser, file, now) {
  const { page, complaints } = await watched(browser);
  await page.setViewport({ width: 360, height: 780, isMobile: true, hasTouch: true });
  await page.setOfflineMode(true);
  if (now) await page.evaluateOnNewDocument((stamp) => { const Own = Date, off = Own.parse(stamp) - Own.now(); globalThis.Date = class extends Own { constructor(...at) { if (at.length > 0) super(...at); else super(Own.now() + off); } static now() { return Own.now() + off; } }; }, now);
  await page.goto(pathToFileURL(file));
  await page.waitForFunction(() => document.querySelector("#card-said h1"), { timeout: 60_000 });
  await settled(page);
  return { page, complaints };
}

/** The night as the file has it now. */
async function written(page) {
  await page.click("#take-home");
  await page.waitForSelector("#home-text", { timeout: 5000 }).catch(() => {});
  const found = await page.$eval("#home-text", (one) => one.textContent).catch(() => null);
  await page.click("#take-home");
  await page.evaluate(() => document.querySelector("#home").replaceChildren());
  return found;
}

export async function near(page, plan) {
  const shown = await page.$$eval("#place-night data[data-path]:not([data-of])", (all) => all.map((one) => [one.dataset.path, Number(one.value)]));
  must(shown.length > 30, `only ${shown.length} numbers are shown`);
  for (const [path, value] of shown) {
    const own = path.split("/").reduce((at, step) => at?.[step], plan);
    must(typeof own === "number" && Math.abs(value - own) <= CLOSE * Math.max(Math.abs(own), 1e-300), `${path}: the file has ${value}, the command ${own}`);
  }
  return shown.length;
}

/** Changes by chance, each held against the command. */
async function changed(page, place) {
  const next = chance(20_261_130);
  const there = await page.$$eval("#sentence [data-word]", (all) => all.map((one) => one.dataset.word));
  const names = Object.keys(WORDS).filter((name) => there.includes(name));
  must(names.length > 5, `only ${names.join(", ")} can be written`);
  let compared = 0, refused = 0;
  for (let i = 0; i < CHANGES; i += 1) {
    const name = names[Math.floor(next() * names.length)], [low, high] = WORDS[name];
    const value = (low + next() * (high - low)).toPrecision(3);
    await open(page, name, String(Number(value)));
    await page.keyboard.press("Enter");
    await settled(page);
    const night = await written(page);
    must(night !== null, "the night could not be taken home");
    writeFileSync(join(place.work, "taken-night.toml"), night);
    let plan = null;
    try { plan = JSON.parse(execFileSync(place.program, ["plan", "taken-night.toml", "--json"], { cwd: place.work, encoding: "utf8", stdio: ["ignore", "pipe", "ignore"] })); } catch { plan = null; }
    const stopped = await page.$(".refused") !== null;
    must(stopped === (plan === null), `${name} = ${value}: the file ${stopped ? "refuses" : "answers"}, the command ${plan === null ? "refuses" : "answers"}`);
    if (plan === null) { refused += 1; continue; }
    try { compared += await near(page, plan); } catch (error) {
      writeFileSync(join(place.screenshots, "differs.toml"), night);
      throw new Error(`after ${i + 1} changes, ${name} = ${value}: ${error.message}`);
    }
  }
  must(refused < CHANGES / 4, `${refused} of ${CHANGES} were refused`);
  return { compared, refused };
}

/** What the card says at some moments of the first evening and around it. */
async function moments(browser, file, plan) {
  const { sessions, starts_utc: opens } = plan.schedule.nights[0];
  const first = Date.parse(sessions[0].starts_utc), last = Date.parse(plan.schedule.nights.at(-1).sessions.at(-1).ends_utc);
  const length = Date.parse(sessions[0].ends_utc) - first;
  const says = [[first - 9 * 3_600_000, /^\w{3}\u00a0\d+\u00a0\w{3}.*from \d\d:\d\d/], [Date.parse(opens) + 30_000, /begins \d\d:\d\d/], [first + 0.5 * length, / now$/], [last + 60_000, /^Done/]];
  for (const [at, wanted] of says) {
    const { page } = await begun(browser, file, new Date(at).toISOString());
    const heading = await text(page, "#card-said h1");
    must(wanted.test(heading), `at ${new Date(at).toISOString()} the card says “${heading}”`);
    if (/ now$/.test(heading)) {
      const line = await page.$eval("#card-said", (one) => one.innerText);
      const by = Number(/by now (\d+), if none was lost/.exec(line)[1]);
      must(Math.abs(by - sessions[0].subs / 2) <= 1, `half way of ${sessions[0].subs} subs it says ${by}`);
    }
    await page.close();
  }
}

export async function phone(browser, place) {
  const file = join(place.work, "planner.html");
  try { place.run(place.work, "page", "garden-night.toml", "--file", "planner.html"); } catch {
    console.log("skipped: this program carries no planner for phones (tools/make_offline_planner.sh)");
    return;
  }
  const bytes = statSync(file).size;
  must(bytes < LARGEST, `planner.html has ${bytes} bytes`);
  const { page, complaints } = await begun(browser, file);
  must(await place_(page) === "card", `it opens at ${await place_(page)}`);
  must(await page.evaluate(() => document.documentElement.dataset.theme) === "night", "it does not open in red");
  must(await page.$("#place-camera") === null && await page.$("#save") === null, "there is more on it than a phone can do");
  for (const own of ["card", "night", "choices"]) {
    await to(page, own);
    await settled(page);
    if (own === "choices") await page.waitForSelector("#place-choices li, #place-choices table, #place-choices svg", { timeout: 60_000 });
    for (const theme of THEMES) {
      await page.evaluate((name) => { document.documentElement.dataset.theme = name; }, theme);
      const found = await violations(page);
      must(found.length === 0, `${own}, ${theme}: ${found.join("\n")}`);
      const picture = await page.screenshot({ fullPage: true });
      writeFileSync(join(place.screenshots, `phone-${own}-${theme}.png`), picture);
      if (theme === "night") must(await coloured(page, picture) === 0, `${own}: a pixel is not red`);
    }
    await page.evaluate(() => { document.documentElement.dataset.theme = "night"; });
    const missed = await small(page);
    must(missed.length === 0, `${own}: too small for a finger: ${missed.join(", ")}`);
    for (const width of [320, 360]) {
      await page.setViewport({ width, height: 780, isMobile: true, hasTouch: true });
      // Figures follow the window a moment later.
      await page.waitForFunction(() => document.documentElement.scrollWidth <= document.documentElement.clientWidth, { timeout: 5000 }).catch(() => {});
      must(await overflow(page) <= 0, `${own} reaches beyond ${width} px by ${await overflow(page)}`);
    }
  }
  await to(page, "night");
  const { compared, refused } = await changed(page, place);
  console.log(`planner.html (${Math.round(bytes / 1000)} kB): ${compared} numbers after ${CHANGES} changes are within 1e-9 of plan --json; ${refused} changes were refused by both`);
  const times = await latency(page);
  const median = times[times.length >> 1];
  console.log(`keystroke to new answer in the file: median ${median.toFixed(1)} ms, worst ${times.at(-1).toFixed(1)} ms; goal ${GOAL_MS} ms: ${median < GOAL_MS ? "reached" : "missed on this machine"}`);
  // It remembers.
  await to(page, "card");
  const kept = await written(page);
  await new Promise((done) => setTimeout(done, 600));
  await page.reload();
  await page.waitForFunction(() => document.querySelector("#card-said h1"));
  await settled(page);
  must(await written(page) === kept, "what was changed is forgotten after a reload");
  must(/^\d+ to take home$/.test(await text(page, "#take-home")), `the header says “${await text(page, "#take-home")}”`);
  must(complaints.length === 0, complaints.join("\n"));
  await page.evaluate(() => localStorage.clear());
  await page.close();
  await moments(browser, file, place.plan("garden-night.toml"));

  place.run(place.work, "page", "evil-night.toml", "--file", "evil.html");
  const evil = await begun(browser, join(place.work, "evil.html"));
  await to(evil.page, "night");
  const [hit, images] = await evil.page.evaluate(() => [window.hit ?? null, document.images.length]);
  must(hit === null && images === 0 && evil.complaints.length === 0, `a name ran: ${hit}, ${images} pictures, ${evil.complaints.join("\n")}`);
  must((await text(evil.page, word("target.name"))).includes(place.evil), "the target's name is not shown as it is written");
  await evil.page.close();
  must(!readFileSync(file, "utf8").includes(place.work), "the file says where it was made");
}
