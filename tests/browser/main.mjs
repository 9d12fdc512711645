// The planner and the reports as a browser sees them. Ends with 1 at the first thing that is not as it must be.

import { execFileSync, spawn } from "node:child_process";
import { cpSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { createInterface } from "node:readline";
import { open } from "./browser.mjs";
import { morning } from "./morning.mjs";
import { person } from "./person.mjs";
import { ended } from "./ended.mjs";
import { phone } from "./phone.mjs";
import { planner } from "./planner.mjs";
import { reports } from "./reports.mjs";
import { told } from "./told.mjs";

const [program, samples, screenshots, chromium] = process.argv.slice(2);
const work = mkdtempSync(join(tmpdir(), "browser-"));
const run = (...words) => execFileSync(program, words, { cwd: work, encoding: "utf8", stdio: ["ignore", "pipe", "inherit"] });

async function served(folder = work, words = ["garden-night.toml"]) {
  const child = spawn(program, ["page", ...words, "--no-open"], { cwd: folder, stdio: ["ignore", "pipe", "inherit"] });
  for await (const line of createInterface({ input: child.stdout })) {
    const address = /http:\/\/127\.0\.0\.1:\d+\/#[0-9a-f]+/.exec(line);
    if (address) return { child, address: address[0] };
  }
  throw new Error("the program printed no address");
}

cpSync(samples, work, { recursive: true });
run("measure", "cooled-mono", "--out", "camera.toml", "--report", "camera.html", "--quiet");
run("measure", "uncooled-colour", "--out", "colour-camera.toml", "--report", "colour.html", "--quiet");
run("plan", "garden-night.toml", "--report", "plan.html");
// A camera that is named like a program, and a night with it.
const evil = `Heron <img src=x onerror="window.hit = 1"><script>window.hit = 2</script>`;
writeFileSync(join(work, "evil-camera.toml"), readFileSync(join(work, "camera.toml"), "utf8").replace(/^camera = .*$/m, `camera = '${evil}'`));
writeFileSync(join(work, "evil-night.toml"), readFileSync(join(work, "garden-night.toml"), "utf8").replace('"camera.toml"', '"evil-camera.toml"').replace('"luminance"', `"luminance" # ${evil}`).replace("[target]", `[target]\nname = '${evil}'`));
// A target that is known by its name, and stands where the sky carries it.
writeFileSync(join(work, "placed-night.toml"), readFileSync(join(work, "garden-night.toml"), "utf8").replace("surface_brightness_mag = 22.8\n", 'name = "M33"\n').replace("altitude_deg = 55.0\n", ""));
// Five filters on a faint target: weeks of nights.
const filters = ["luminance", "red", "green", "blue"].map((name) => `[[filters]]\nname = "${name}"\n\n`).join("") + '[[filters]]\nname = "yellow"\ncentre_nm = 580.0\nwidth_nm = 60.0\n\n';
writeFileSync(join(work, "five-night.toml"), readFileSync(join(work, "placed-night.toml"), "utf8").replace(/\[\[filters\]\][^[]*/, filters).replace(/^patch_arcsec = .*$/m, "patch_arcsec = 3.0").replace(/^most_subs = .*$/m, "most_subs = 20000"));
mkdirSync(join(work, "broken"));
writeFileSync(join(work, "broken", "frame.fits"), "SIMPLE  = no frame at all");
const { child, address } = await served();
const browser = await open(chromium);
try {
  const place = { work, program, evil, screenshots, samples, run: (cwd, ...words) => execFileSync(program, words, { cwd, encoding: "utf8", stdio: ["ignore", "pipe", "inherit"] }), plan: (night) => JSON.parse(run("plan", night, "--json")), read: (name) => readFileSync(join(work, name), "utf8") };
  await planner(browser, address, place);
  await phone(browser, place);
  await ended(browser, place, served);
  await person(browser, place, served);
  await told(browser, place, served);
  await morning(browser, place, served);
  await reports(browser, place);
  console.log("the page and the reports are as they must be");
} catch (error) {
  console.error(error);
  process.exitCode = 1;
} finally {
  await browser.close();
  child.kill("SIGINT");
  rmSync(work, { recursive: true, force: true });
}
