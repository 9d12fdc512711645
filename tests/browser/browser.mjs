// A headless browser that is watched: what it logs, what it asks for, what axe-core says of a page.

import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import puppeteer from "puppeteer-core";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");

export const WIDTHS = [320, 768, 1280, 1600];
export const THEMES = ["light", "dark", "night"];

export function must(holds, what) {
  if (!holds) throw new Error(what);
}

export async function open(executablePath) {
  return puppeteer.launch({ executablePath, headless: true, args: ["--no-sandbox", "--disable-background-networking"] });
}

/** A page whose every complaint and every request beyond this machine is kept. */
export async function watched(browser) {
  const page = await browser.newPage();
  const complaints = [];
  page.on("console", (message) => { if (["error", "warn"].includes(message.type())) complaints.push(`console: ${message.text()}`); });
  page.on("pageerror", (error) => complaints.push(`script: ${error.message}`));
  page.on("request", (request) => {
    const { protocol, hostname } = new URL(request.url());
    const here = ["data:", "file:", "about:", "blob:"].includes(protocol) || ["127.0.0.1", "localhost"].includes(hostname);
    if (!here) complaints.push(`asks beyond this machine: ${request.url()}`);
  });
  return { page, complaints };
}

/** axe-core's violations as lines; put in by the debugger's door, so that the page's own policy stays in force. */
export async function violations(page) {
  await page.evaluate(axe);
  const found = await page.evaluate(async () => {
    const { violations } = await window.axe.run(document, { resultTypes: ["violations"] });
    return violations.map(({ id, nodes }) => `${id}: ${nodes.map((node) => `${node.html.slice(0, 160)} [${node.any.concat(node.all, node.none).map((check) => check.message).join("; ").slice(0, 200)}]`).join(" | ")}`);
  });
  return found;
}

/** How far the page reaches beyond its window, in pixels. */
export const overflow = (page) => page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);

/** Sheets of a PDF, as its own tree counts its pages. */
export const sheets = async (page) => Math.max(...[...Buffer.from(await page.pdf({ preferCSSPageSize: true })).toString("latin1").matchAll(/\/Count (\d+)/g)].map(([, count]) => Number(count)));

/** Targets that a finger would miss: what can be touched and is smaller than 44 px. */
export const small = (page) => page.evaluate(() => [...document.querySelectorAll("button, a, input, summary, [role=option], [role=slider]")]
  .filter((one) => one.getClientRects().length > 0 && !one.classList.contains("skip") && getComputedStyle(one).visibility !== "hidden")
  .map((one) => ({ box: one.getBoundingClientRect(), words: `${one.tagName.toLowerCase()} “${(one.textContent || one.ariaLabel || "").slice(0, 30)}”` }))
  .filter(({ box }) => box.width > 0 && (box.width < 43.5 || box.height < 43.5))
  .map(({ box, words }) => `${words} ${Math.round(box.width)} × ${Math.round(box.height)}`));

/** How many pixels of a picture have any green or blue. */
export async function coloured(page, png) {
  const other = await page.browser().newPage();
  try {
    return await other.evaluate(async (data) => {
      const image = new Image();
      image.src = `data:image/png;base64,${data}`;
      await image.decode();
      const canvas = new OffscreenCanvas(image.width, image.height).getContext("2d");
      canvas.drawImage(image, 0, 0);
      const { data: bytes } = canvas.getImageData(0, 0, image.width, image.height);
      let count = 0;
      for (let i = 0; i < bytes.length; i += 4) if (bytes[i + 1] > 0 || bytes[i + 2] > 0) count += 1;
      return count;
    }, Buffer.from(png).toString("base64"));
  } finally { await other.close(); }
}
