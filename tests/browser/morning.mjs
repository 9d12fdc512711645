// The night while it runs, and the morning after: lights come into a folder while the page looks on.

import { cpSync, mkdirSync, mkdtempSync, readFileSync, readdirSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { must, watched } from "./browser.mjs";
import { same } from "./person.mjs";
import { dressed, text } from "./planner.mjs";
import { keeping, reportOf } from "./told.mjs";

const pause = (ms) => new Promise((done) => setTimeout(done, ms));

export async function morning(browser, place, serve) {
  const work = mkdtempSync(join(tmpdir(), "morning-"));
  cpSync(place.samples, work, { recursive: true });
  place.run(work, "measure", "cooled-mono", "--out", "camera.toml", "--quiet");
  place.run(work, "simulate", "garden-lights.toml", "--out", "staged", "--quiet");
  // A target with a place: what is to come of its night can be drawn.
  const night = join(work, "garden-night.toml");
  writeFileSync(night, readFileSync(night, "utf8").replace(/^altitude_deg = .*$/m, "ra_deg = 23.46\ndec_deg = 30.66"));
  mkdirSync(join(work, "lights"));
  const frames = ["dark", "light"].flatMap((kind) => readdirSync(join(work, "staged", kind)).sort().map((name) => join(work, "staged", kind, name)));
  const arrive = (list) => list.forEach((frame) => cpSync(frame, join(work, "lights", frame.split("/").at(-1))));
  const { child, address } = await serve(work, ["garden-night.toml"]);
  const { page, complaints } = await watched(browser);
  try {
    await page.setViewport({ width: 1280, height: 900 });
    arrive(frames.slice(0, 12));
    await page.goto(address);
    await page.waitForFunction(() => document.querySelector("#file")?.textContent.length > 0, { timeout: 60_000 });
    await page.evaluate(() => { location.hash = "#/morning"; });
    await page.waitForSelector('[data-watch="lights"]', { timeout: 60_000 });
    await dressed(page, place, "morning-choice", async () => {});
    await page.click('[data-watch="lights"]');
    await page.waitForSelector("#end-night", { timeout: 60_000 });
    must(/Waiting|luminance/i.test(await text(page, "#place-morning h1")), `it begins with “${await text(page, "#place-morning h1")}”`);
    // The rest comes while the page looks on; what was told is kept over a reload.
    await page.waitForSelector("#place-morning table", { timeout: 120_000 });
    arrive(frames.slice(12, 30));
    await page.reload();
    await page.waitForFunction(() => /running: (1[3-9]|2\d) subs/.test(document.querySelector("#state-morning").textContent), { timeout: 120_000 });
    must(await page.$$eval("#place-morning table tbody tr", (rows) => rows.length) >= 7, "the last six subs are not shown");
    const filled = () => page.$eval("#night-lanes", (box) => ({ shot: Math.max(0, ...[...box.querySelectorAll(".block.filled")].map((one) => one.getBBox().width)), open: Math.max(0, ...[...box.querySelectorAll(".to-come")].map((one) => one.getBBox().width)) }));
    await page.waitForSelector("#night-lanes .block.filled", { timeout: 60_000 });
    const early = await filled();
    must(early.shot > 0 && early.open > 5 * early.shot, `after some subs ${JSON.stringify(early)} of the night's picture is filled and open`);
    must(!/[(\s]-\d/.test(await text(page, "#words")), `a hyphen for a minus: ${await text(page, "#words")}`);
    await dressed(page, place, "morning-running", async () => {});
    arrive(frames.slice(30));
    await page.waitForFunction(() => /running: 40 subs/.test(document.querySelector("#state-morning").textContent), { timeout: 120_000 });
    const late = await filled();
    must(late.shot > early.shot && late.open < early.open, `the picture does not fill: ${JSON.stringify(early)}, then ${JSON.stringify(late)}`);
    const slider = await page.$eval("#lanes-slider", (one) => [one.getAttribute("aria-valuenow"), one.getAttribute("aria-valuetext")]);
    must(slider[0] === "40" && /sky/.test(slider[1]), `the lanes say ${slider}`);
    // A new drawing may come between the hand and its key.
    const first = () => page.$eval("#lanes-slider", (one) => one.getAttribute("aria-valuenow") === "1").catch(() => false);
    for (let tries = 0; tries < 20 && !(await first()); tries += 1) {
      await page.$eval("#lanes-slider", (one) => one.focus());
      await page.keyboard.press("Home");
      await pause(100);
    }
    must(await first(), "the keyboard does not read the lanes");
    await page.click("#end-night");
    await page.waitForSelector("#teaches", { timeout: 60_000 });
    const review = JSON.parse(place.run(work, "review", "lights", "--night", "garden-night.toml", "--json"));
    must((await text(page, "#place-morning h1")).startsWith(`${review.subs_kept} of ${review.subs.length} subs are worth keeping`), `the finding is “${await text(page, "#place-morning h1")}”`);
    const shown = await page.$$eval("data[data-of=review]", (all) => all.map((one) => [one.dataset.path, Number(one.value)]));
    must(shown.length >= 6, `only ${shown.length} numbers of the review are shown`);
    for (const [path, value] of shown) must(path.split("/").reduce((at, step) => at[step], review) === value, `review: ${path} is not ${value}`);
    must(await page.$$eval("#teaches li", (list) => list.length) === review.advice.length, "what the night teaches is not all there");
    await dressed(page, place, "morning", async () => {});
    // The report is the command's; what the night learns of it is what the command writes.
    await keeping(page);
    place.run(work, "review", "lights", "--night", "garden-night.toml", "--quiet", "--report", "review.html");
    must(await reportOf(page, "review") === readFileSync(join(work, "review.html"), "utf8"), "the report is not the command's");
    cpSync(night, join(work, "written.toml"));
    place.run(work, "review", "lights", "--night", "written.toml", "--quiet", "--write", "--write-already");
    await page.click("#take-sky");
    await page.waitForFunction(() => /planned with the sky that was measured/.test(document.querySelector("#take").textContent));
    await page.click("#take-hours");
    await page.waitForFunction(() => /counted as in hand/.test(document.querySelector("#take").textContent));
    await page.keyboard.down("Control");
    await page.keyboard.press("s");
    await page.keyboard.up("Control");
    await page.waitForFunction(() => document.querySelector("#save").hidden, { timeout: 30_000 });
    const [mine, theirs] = ["garden-night.toml", "written.toml"].map((name) => place.run(work, "plan", name, "--json"));
    must(mine === theirs, "what was taken from the morning plans another night than what the command writes");
    must(/\[\[goal\.already\]\]/.test(readFileSync(night, "utf8")), "no hours are in hand");
    // Judged at once.
    await page.evaluate(() => [...document.querySelectorAll("#place-morning button")].find((one) => one.textContent === "other lights").click());
    await page.waitForSelector('[data-judge="lights"]');
    await page.click('[data-judge="lights"]');
    await page.waitForSelector("#teaches", { timeout: 120_000 });
    // This night knows the year's air: cooling, month by month.
    await page.evaluate(() => { location.hash = "#/choices"; });
    await page.waitForSelector("#cooling > summary", { timeout: 120_000 });
    await page.click("#cooling > summary");
    await page.waitForSelector("#cooling tbody tr", { timeout: 120_000 });
    console.log(`${await same(page, "cooling", JSON.parse(place.run(work, "cooling", "garden-night.toml", "--json")))} numbers of the cooling equal those of cooling --json`);
    must(complaints.length === 0, complaints.join("\n"));
    console.log(`${shown.length} numbers of the morning equal those of review --json; a night was watched as it came`);
    await pause(50);
  } finally {
    await page.close();
    child.kill("SIGINT");
    rmSync(work, { recursive: true, force: true });
  }
}
