// The reports, opened from the disk with scripts off.

import { THEMES, WIDTHS, must, overflow, violations, watched } from "./browser.mjs";

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
    must(complaints.length === 0, complaints.join("\n"));
    await page.setJavaScriptEnabled(false);
    await page.reload();
    const shown = await page.$$eval("figure svg", (all) => all.length).catch(() => null);
    must(shown === null || shown > 0, `${name}.html shows no picture without scripts`);
    await page.close();
  }
}
