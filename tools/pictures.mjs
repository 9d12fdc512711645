// Takes the pictures of README.md: figures out of the reports that lie in this folder, and the planner as it is served.

import { spawn } from "node:child_process";
import { mkdirSync } from "node:fs";
import { createInterface } from "node:readline";
import { must, open, watched } from "./browser.mjs";

const [program, pictures, chromium] = process.argv.slice(2);
/** File, report, how the caption begins. */
const FIGURES = [
  ["photon-transfer.png", "camera.html", "Photon transfer"],
  ["length-of-a-sub.png", "plan.html", "What the length of a sub costs"],
  ["year-of-cooling.png", "cooling.html", "The year of"],
];
const WIDTH = 620;

async function figures(browser) {
  const { page } = await watched(browser);
  await page.setViewport({ width: WIDTH, height: 900 });
  for (const [file, report, caption] of FIGURES) {
    await page.goto(`file://${process.cwd()}/${report}`);
    await page.click("label[for=theme-light]");
    const figure = await page.evaluateHandle((begins) => [...document.querySelectorAll("figure")].find((one) => one.querySelector("figcaption").textContent.startsWith(begins)), caption);
    must(figure.asElement(), `${report} has no figure “${caption}”`);
    // A picture has no table to unfold.
    await figure.evaluate((one) => one.querySelectorAll("details").forEach((twin) => twin.remove()));
    await figure.asElement().screenshot({ path: `${pictures}/${file}` });
  }
  await page.close();
}

async function planner(browser) {
  const child = spawn(program, ["page", "garden-night.toml", "--no-open"], { stdio: ["ignore", "pipe", "inherit"] });
  try {
    let address = null;
    for await (const line of createInterface({ input: child.stdout })) {
      address = /http:\/\/127\.0\.0\.1:\d+\/#[0-9a-f]+/.exec(line)?.[0];
      if (address) break;
    }
    must(address, "the program printed no address");
    const { page } = await watched(browser);
    // The sample's evening is still to come.
    await page.evaluateOnNewDocument((stamp) => { const Own = Date, off = Own.parse(stamp) - Own.now(); globalThis.Date = class extends Own { constructor(...at) { if (at.length > 0) super(...at); else super(Own.now() + off); } static now() { return Own.now() + off; } }; }, "2026-10-11T12:00:00Z");
    for (const [file, theme, width, last] of [["planner.png", "light", 1180, "#picture-dates"], ["planner-in-the-dark.png", "night", 390, "#quieter"]]) {
      await page.setViewport({ width, height: 900 });
      await page.goto(address);
      await page.reload();
      await page.waitForFunction(() => document.querySelector("#place-night").getAttribute("aria-busy") === "false");
      await page.$eval(`[data-theme-to=${theme}]`, (element) => element.click());
      await page.evaluate(() => { document.activeElement.blur(); window.scrollTo(0, 0); });
      await page.mouse.move(0, 0);
      const height = await page.$eval(last, (element) => Math.ceil(element.getBoundingClientRect().bottom) + 16);
      // The places stand at the foot of the window: it is as high as the picture.
      await page.setViewport({ width, height: height + (width < 768 ? 64 : 0) });
      await page.screenshot({ path: `${pictures}/${file}`, clip: { x: 0, y: 0, width, height: height + (width < 768 ? 64 : 0) } });
    }
  } finally {
    child.kill("SIGINT");
  }
}

mkdirSync(pictures, { recursive: true });
const browser = await open(chromium);
try {
  await figures(browser);
  await planner(browser);
} finally {
  await browser.close();
}
