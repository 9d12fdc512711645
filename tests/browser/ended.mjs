// The program ends while somebody plans: the page plans on with the planner's module, and loses no word.

import { cpSync, mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { execFileSync } from "node:child_process";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { must, violations, watched } from "./browser.mjs";
import { near } from "./phone.mjs";
import { open, press, settled, text, write } from "./planner.mjs";

const CHANGES = [["goal.snr", "7"], ["target.surface_brightness_mag", "22.1"], ["optics.aperture_mm", "102"], ["mount.longest_sub_s", "140"], ["goal.snr", "13"], ["mount.settle_s", "9"]];

/** Whether the program was built with the planner's module. */
function carries(place) {
  try { place.run(place.work, "page", "garden-night.toml", "--file", "carried.html"); return true; } catch { return false; }
}

export async function ended(browser, place, serve) {
  const work = mkdtempSync(join(tmpdir(), "ended-"));
  cpSync(join(place.work, "camera.toml"), join(work, "camera.toml"));
  cpSync(join(place.work, "garden-night.toml"), join(work, "garden-night.toml"));
  const able = carries(place);
  const first = await serve(work, ["garden-night.toml"]);
  const { page, complaints } = await watched(browser);
  try {
    await page.setViewport({ width: 1280, height: 900 });
    const taken = page.waitForResponse((response) => response.url().endsWith(able ? "/api/taken" : "/planner.wasm.gz"), { timeout: 60_000 });
    await page.goto(first.address);
    await settled(page);
    await taken;
    await new Promise((done) => setTimeout(done, 200));
    first.child.kill("SIGKILL");
    await new Promise((done) => first.child.once("exit", done));
    // What the browser says of a program that is not there is no fault of the page.
    const before = complaints.length;
    if (!able) {
      await open(page, "goal.snr", "7");
      await page.waitForFunction(() => !document.querySelector("#gone").hidden);
      must(/your words are kept here/.test(await text(page, "#gone")), `it says “${await text(page, "#gone")}”`);
      console.log("skipped: a program without the planner's module leaves a page that cannot plan on");
      return;
    }
    let compared = 0;
    for (const [name, value] of CHANGES) {
      await write(page, name, value);
      const answer = await page.evaluate(() => document.querySelector("#changed") && document.querySelector("#file").textContent);
      must(answer === "garden-night", `the head says ${answer}`);
      await page.click("#save");
      await page.waitForFunction(() => !document.querySelector("#question").hidden);
      must(/take it as a file/.test(await text(page, "#question")), `a save that cannot be says “${await text(page, "#question")}”`);
      await press(page, "all right", "#question");
      const night = await page.evaluate(async () => (await import("/server.js")).ask("POST", "/api/text", (await import("/night.js")).draft())).then((found) => found.text);
      writeFileSync(join(work, "now.toml"), night);
      const plan = JSON.parse(execFileSync(place.program, ["plan", "now.toml", "--json"], { cwd: work, encoding: "utf8", stdio: ["ignore", "pipe", "ignore"] }));
      compared += await near(page, plan);
    }
    must(/plans on without it/.test(await text(page, "#gone")), `it says “${await text(page, "#gone")}”`);
    const found = await violations(page);
    must(found.length === 0, `axe: ${found.join("\n")}`);
    const script = complaints.slice(before).filter((line) => !/net::ERR_CONNECTION_REFUSED/.test(line));
    must(script.length === 0 && before === 0, [...complaints.slice(0, before), ...script].join("\n"));
    await page.screenshot({ path: join(place.screenshots, "ended.png") });
    // Started anew in the same folder: its address, put into the same tab, finds the words again.
    const again = await serve(work, ["garden-night.toml"]);
    try {
      await page.goto(again.address);
      await page.waitForFunction(() => document.querySelector("#unsaved")?.textContent.startsWith("5 words differ") && document.querySelector("#gone").hidden, { timeout: 60_000 });
    } finally { again.child.kill("SIGINT"); }
    console.log(`${compared} numbers without the program within 1e-9`);
  } finally {
    await page.close();
    first.child.kill("SIGINT");
    rmSync(work, { recursive: true, force: true });
  }
}
