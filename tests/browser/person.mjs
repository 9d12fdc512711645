// A person without a terminal: from a folder with frames in it to a kept profile, a plan of a named target and a choice.

import { cpSync, existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { must, overflow, violations, watched } from "./browser.mjs";
import { dressed, open, press, settled, text, word } from "./planner.mjs";

const pause = (ms) => new Promise((done) => setTimeout(done, ms));

/** Every number that a place shows of a document, beside that document. */
export async function same(page, of, document) {
  const shown = await page.$$eval(`data[data-of=${of}]`, (all) => all.map((one) => [one.dataset.path, Number(one.value)]));
  must(shown.length > 5, `only ${shown.length} numbers of ${of} are shown`);
  for (const [path, value] of shown) must(path.split("/").reduce((at, step) => at[step], document) === value, `${of}: ${path} is not ${value}`);
  return shown.length;
}

export async function person(browser, place, serve) {
  const work = mkdtempSync(join(tmpdir(), "person-"));
  cpSync(join(place.samples, "cooled-mono"), join(work, "october"), { recursive: true });
  mkdirSync(join(work, "holiday"));
  const { child, address } = await serve(work, []);
  const { page, complaints } = await watched(browser);
  try {
    await page.setViewport({ width: 1280, height: 900 });
    await page.goto(address);
    // First run: it asks what one has, and shows what lies beside it.
    await page.waitForSelector("#place-start h1");
    must(await text(page, "#place-start h1") === "What have you got?", `the first run says “${await text(page, "#main")}”`);
    await page.waitForSelector('[data-measure="october"]', { timeout: 60_000 });
    const counts = await page.$eval('[data-measure="october"]', (element) => [...element.closest("tr").querySelectorAll("td")].slice(0, 4).map((one) => one.textContent));
    must(counts.join() === "8,24,28,0", `october holds ${counts}`);
    await dressed(page, place, "start", async () => {});
    await page.click('[data-measure="october"]');
    await page.waitForSelector("#far, #keep-profile", { timeout: 60_000 });
    await page.waitForSelector("#keep-profile", { timeout: 180_000 });
    must(/reads a pixel with 1\.66 electrons of noise/.test(await text(page, "#place-camera h1")), `the finding is “${await text(page, "#place-camera h1")}”`);
    must(!/\ufffd/.test(await text(page, "#place-camera")), "a replacement sign stands in the result");
    await dressed(page, place, "camera", async () => {});
    await page.click("#keep-profile");
    await page.waitForFunction(() => /Kept as/.test(document.querySelector("#keep-said")?.textContent ?? ""), { timeout: 60_000 });
    must(existsSync(join(work, "heron-m.toml")), "no profile was written");
    const profile = JSON.parse(place.run(work, "measure", "october", "--json"));
    console.log(`${await same(page, "camera", profile)} numbers of the camera equal those of measure --json`);
    await press(page, "plan with it", "#place-camera");
    await page.waitForFunction(() => location.hash === "#/night");
    await settled(page);
    // A named target, an evening, a place.
    await open(page, "site.place");
    await page.waitForSelector('[data-field="site.latitude_deg"]');
    await page.type('[data-field="site.latitude_deg"]', "45");
    await page.type('[data-field="site.longitude_deg"]', "21");
    await page.keyboard.press("Tab");
    await open(page, "goal.date");
    await page.waitForSelector("#drawer .day");
    for (let i = 0; i < 24 && (await text(page, "#drawer .turn strong")) !== "October 2026"; i += 1) {
      const [month, year] = (await text(page, "#drawer .turn strong")).split(" ");
      const ahead = Number(year) * 12 + new Date(`${month} 1, 2000`).getMonth() > 2026 * 12 + 9;
      await page.click(`#drawer .turn button:${ahead ? "first" : "last"}-child`);
    }
    await page.click('[data-date="2026-10-12"]');
    await settled(page);
    await open(page, "target.name");
    await page.waitForSelector(".targets input");
    await page.keyboard.type("Triangulum Galaxy");
    await page.keyboard.press("Enter");
    await settled(page);
    must((await text(page, word("target.name"))).includes("M33"), "the target was not found by its alias");
    await page.waitForSelector("#picture-slider", { timeout: 120_000 });
    await page.keyboard.down("Control");
    await page.keyboard.press("s");
    await page.keyboard.up("Control");
    await page.waitForFunction(() => document.querySelector("#save").hidden, { timeout: 30_000 });
    const plan = JSON.parse(place.run(work, "plan", "my-night.toml", "--json"));
    const shown = await page.$$eval("data[data-path]:not([data-of])", (all) => all.map((one) => [one.dataset.path, Number(one.value)]));
    for (const [path, value] of shown) must(path.split("/").reduce((at, step) => at[step], plan) === value, `plan: ${path} is not ${value}`);
    must(shown.length > 40, `only ${shown.length} numbers of the plan`);
    // The calendar, as a file.
    await page.evaluate(() => { const own = URL.createObjectURL; URL.createObjectURL = (blob) => { window.given = blob; return own.call(URL, blob); }; });
    await press(page, "as a calendar file", "#evenings-files");
    await page.waitForFunction(() => window.given);
    const calendar = await page.evaluate(() => window.given.text());
    must(calendar.startsWith("BEGIN:VCALENDAR") && calendar.includes("M33"), `the calendar begins with ${calendar.slice(0, 60)}`);
    // A choice, tried as a draft.
    await page.evaluate(() => { location.hash = "#/choices"; });
    await page.waitForSelector("#place-choices .choices, #place-choices .problem", { timeout: 120_000 });
    console.log(`${await same(page, "choices", JSON.parse(place.run(work, "choices", "my-night.toml", "--json")))} numbers of the choices equal those of choices --json`);
    // Cooling by itself, and the night against another that lies beside it.
    writeFileSync(join(work, "larger.toml"), readFileSync(join(work, "my-night.toml"), "utf8").replace(/^aperture_mm = .*$/m, "aperture_mm = 120.0"));
    await page.click("#cooling > summary");
    // This night says nothing of the year's air.
    await page.waitForSelector("#cooling .problem", { timeout: 120_000 });
    must(!/site\.|[`[\]]/.test(await text(page, "#cooling .problem p")), `the cooling says “${await text(page, "#cooling .problem p")}”`);
    await page.click("#compare > summary");
    await page.waitForSelector("[data-against='larger.toml']", { timeout: 60_000 });
    await page.click("[data-against='larger.toml']");
    await page.waitForSelector("#compared tbody tr", { timeout: 120_000 });
    must(/^larger is quicker/.test(await text(page, "#compared")), `the comparison says “${await text(page, "#compared")}”`);
    console.log(`${await same(page, "compare", JSON.parse(place.run(work, "compare", "my-night.toml", "larger.toml", "--json")))} numbers of the comparison equal those of compare --json`);
    await dressed(page, place, "choices", async () => {});
    await press(page, "try it", "#place-choices");
    await page.waitForFunction(() => location.hash === "#/night");
    await settled(page);
    must(/differ/.test(await text(page, "#unsaved")), "a tried choice is no draft");
    await page.evaluate(() => { location.hash = "#/morning"; });
    await pause(100);
    must((await violations(page)).length === 0 && (await overflow(page)) <= 0, "the morning is not clean");
    // A data sheet, typed.
    await page.evaluate(() => { location.hash = "#/start"; });
    await page.waitForSelector("[data-sheet=name]");
    await press(page, "plan with this", "#place-start");
    must(/has no name yet/.test(await text(page, ".sheet .problem")), "a sheet without a name is taken");
    await page.type("[data-sheet=name]", "Sorrel M");
    await press(page, "plan with this", "#place-start");
    await page.waitForFunction(() => !document.querySelector("#question").hidden || location.hash === "#/night");
    if (await page.$eval("#question", (element) => !element.hidden)) await press(page, "keep as a draft", "#question");
    await page.waitForFunction(() => document.querySelector("#file").textContent === "sorrel-m-night");
    must(readFileSync(join(work, "sorrel-m.toml"), "utf8").includes('camera = "Sorrel M"'), "the sheet was not written");
    must(complaints.filter((line) => !/\b422\b/.test(line)).length === 0, complaints.join("\n"));
    console.log("a person without a terminal comes from frames to a plan and a choice");
  } finally {
    await page.close();
    child.kill("SIGINT");
    rmSync(work, { recursive: true, force: true });
  }
}
