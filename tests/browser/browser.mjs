// A headless browser that is watched: what it logs, what it asks for, what axe-core says of a page.

import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import puppeteer from "puppeteer-core";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");

export const WIDTHS = [320, 768, 1280];
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
    const here = ["data:", "file:", "about:"].includes(protocol) || ["127.0.0.1", "localhost"].includes(hostname);
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
