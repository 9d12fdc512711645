// Frames that do not say what they are, and frames in several folders: told on the page, measured, and reported of.

import { mkdirSync, mkdtempSync, readFileSync, readdirSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { must, watched } from "./browser.mjs";
import { same } from "./person.mjs";
import { dressed, press, text } from "./planner.mjs";

/** Keeps what the page gives away as files. */
export const keeping = (page) => page.evaluate(() => { window.given = null; const own = URL.createObjectURL; URL.createObjectURL = (blob) => { window.given = blob; return own.call(URL, blob); }; });
/** Presses for a report and reads it. */
export async function reportOf(page, of) {
  await page.evaluate((what) => { window.given = null; document.querySelector(`[data-report="${what}"]`).click(); }, of);
  await page.waitForFunction(() => window.given, { timeout: 120_000 });
  return page.evaluate(() => window.given.text());
}

const counts = (page, path) => page.$eval(`[data-say="${path}"], [data-measure="${path}"], [data-anew="${path}"]`, (one) => [...one.closest("tr").querySelectorAll("td")].slice(0, 4).map((cell) => cell.textContent).join());

export async function told(browser, place, serve) {
  const work = mkdtempSync(join(tmpdir(), "told-"));
  const from = join(place.samples, "cooled-mono"), kinds = { bias: "a", flat: "b", dark: "c" };
  const all = (folder) => readdirSync(join(from, folder), { recursive: true, withFileTypes: true }).filter((one) => one.isFile());
  let number = 0;
  for (const file of all(".")) {
    const bytes = readFileSync(join(file.parentPath, file.name)), head = bytes.subarray(0, 20_000).toString("latin1");
    const kind = Object.keys(kinds).find((own) => new RegExp(`IMAGETYP= '${own}`, "i").test(head));
    if (!kind) continue;
    number += 1;
    const dumb = Buffer.from(bytes), at = head.indexOf("IMAGETYP");
    dumb.write("COMMENT ".padEnd(80), at, "latin1");
    for (const [folder, own] of [[`set/${kinds[kind]}`, dumb], [kind === "flat" ? "second" : "first", bytes]]) {
      mkdirSync(join(work, folder), { recursive: true });
      writeFileSync(join(work, folder, `img_${String(number).padStart(3, "0")}.fits.fz`), own);
    }
  }
  must(number === 60, `${number} frames of the sample were set out`);
  const { child, address } = await serve(work, []);
  const { page, complaints } = await watched(browser);
  try {
    await page.setViewport({ width: 1280, height: 900 });
    await page.goto(address);
    await page.waitForSelector('[data-say="set"]', { timeout: 60_000 });
    must(await counts(page, "set") === "0,0,0,60", `the set holds ${await counts(page, "set")}`);
    await page.click('[data-say="set"]');
    await page.waitForSelector('[data-which="set"], [data-which="a"]');
    await page.click('[data-so="set"]');
    must(/first/.test(await page.$eval('[data-so="set"]', (one) => one.parentElement.textContent)), "nothing said is taken for something");
    const say = async (folder, kind) => page.click(`[data-which="${folder}"] [data-kind="${kind}"]`);
    // Wrong at first, then anew.
    await say("a", "dark"); await say("b", "flat"); await say("c", "dark");
    await dressed(page, place, "start-kinds", async () => {});
    await page.click('[data-so="set"]');
    await page.waitForSelector('[data-anew="set"]', { timeout: 60_000 });
    must((await counts(page, "set")).startsWith("0,24,"), `said wrong, the set holds ${await counts(page, "set")}`);
    await page.click('[data-anew="set"]');
    await page.waitForSelector('[data-say="set"]', { timeout: 60_000 });
    await page.click('[data-say="set"]');
    await say("a", "bias"); await say("b", "flat"); await say("c", "dark");
    await page.click('[data-so="set"]');
    await page.waitForSelector('[data-measure="set"]', { timeout: 60_000 });
    must(await counts(page, "set") === "8,24,28,0", `said right, the set holds ${await counts(page, "set")}`);
    must(/^a\/\*,bias$/m.test(readFileSync(join(work, "set", "sidecar.csv"), "utf8")), "the table says something else");
    await page.click('[data-measure="set"]');
    await page.waitForSelector("#keep-profile", { timeout: 180_000 });
    const profile = JSON.parse(place.run(work, "measure", "set", "--json"));
    const shown = await same(page, "camera", profile);
    await keeping(page);
    place.run(work, "measure", "set", "--quiet", "--report", "set.html");
    must(await reportOf(page, "camera") === readFileSync(join(work, "set.html"), "utf8"), "the report is not the command's");
    // Two folders of one camera.
    await page.evaluate(() => { location.hash = "#/start"; });
    await page.waitForSelector('[data-tick="first"]', { timeout: 60_000 });
    must(await page.$("#measure-together") === null, "nothing is ticked, and measured together");
    await page.click('[data-tick="first"]');
    await page.click('[data-tick="second"]');
    await press(page, "measure these 2 together", "#place-start");
    await page.waitForFunction(() => /first, second/.test(document.querySelector("#place-camera h1")?.textContent ?? "") || document.querySelector("#keep-profile"), { timeout: 60_000 });
    await page.waitForFunction(() => document.querySelector("#keep-profile") && /From 8 bias frames, 24 flats/.test(document.querySelector("#place-camera").textContent), { timeout: 180_000 });
    const both = await same(page, "camera", JSON.parse(place.run(work, "measure", "first", "second", "--json")));
    must(complaints.length === 0, complaints.join("\n"));
    console.log(`${shown} and ${both} numbers of a set that was told and of two folders equal those of measure --json`);
  } finally {
    await page.close();
    child.kill("SIGINT");
    rmSync(work, { recursive: true, force: true });
  }
}
