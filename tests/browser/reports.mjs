// The reports, opened from the disk with scripts off.

import { THEMES, WIDTHS, must, overflow, sheets, violations, watched } from "./browser.mjs";

/** A report of one filter or of a camera without colours is to fit so many sheets. */
const MOST_SHEETS = 4;

/** Two columns where there is room, a list of contents that leads to each section, few sheets of paper. */
async function laid(page, name) {
  await page.setViewport({ width: 1280, height: 900 });
  const figures = await page.$$eval("#pictures figure", (all) => all.map((one) => { const { left, top, bottom } = one.getBoundingClientRect(); return { left, top, bottom }; }));
  must(figures.length < 2 || figures.some((one) => figures.some((other) => other.left > one.left + 200 && other.top < one.bottom && one.top < other.bottom)), `${name}.html has its figures in one column at 1280 px`);
  const links = await page.$$eval(".contents a", (all) => all.map((one) => [one.textContent, document.querySelector(one.getAttribute("href"))?.querySelector("h2")?.textContent]));
  must(links.length > 3 && links.every(([words, heading]) => words === heading), `the contents of ${name}.html: ${JSON.stringify(links)}`);
  const headings = await page.$$eval("h2", (all) => all.length);
  must(headings === links.length, `${name}.html has ${headings} sections and ${links.length} in its contents`);
  // Text of the figures is no larger than the text about them.
  const [axis, body] = await page.evaluate(() => { const svg = document.querySelector("svg.plot"), scale = svg.getBoundingClientRect().width / svg.viewBox.baseVal.width; return [scale * Math.max(...[...svg.querySelectorAll("text")].map((one) => Number.parseFloat(getComputedStyle(one).fontSize))), Number.parseFloat(getComputedStyle(document.querySelector("article p:not(.answer)")).fontSize)]; });
  must(axis <= body + 0.5, `${name}.html: text of ${axis.toFixed(1)} px in figures, of ${body} px about them`);
  return sheets(page);
}

export async function reports(browser, place) {
  for (const name of ["camera", "colour", "plan"]) {
    const { page, complaints } = await watched(browser);
    await page.goto(`file://${place.work}/${name}.html`);
    for (const theme of THEMES) {
      await page.click(`label[for=theme-${theme}]`);
      for (const width of WIDTHS) {
        await page.setViewport({ width, height: 900 });
        const over = await overflow(page);
        must(over <= 0, `${name}.html at ${width} px is ${over} px too wide`);
        const found = await violations(page);
        must(found.length === 0, `${name}.html, ${theme}, ${width} px:\n${found.join("\n")}`);
        await page.screenshot({ path: `${place.screenshots}/report-${name}-${theme}-${width}.png`, fullPage: true });
      }
    }
    const count = await laid(page, name);
    console.log(`${name}.html: ${count} sheets of paper`);
    must(name === "colour" || count <= MOST_SHEETS, `${name}.html is printed on ${count} sheets`);
    must(complaints.length === 0, complaints.join("\n"));
    await page.setJavaScriptEnabled(false);
    await page.reload();
    const shown = await page.$$eval("figure svg", (all) => all.length).catch(() => null);
    must(shown === null || shown > 0, `${name}.html shows no picture without scripts`);
    await page.close();
  }
}
