// A camera typed from its data sheet: a sentence of its own, one doubt at a time.

import { button, el } from "./dom.js";
import { capital, united, written } from "./format.js";
import { folder, openNight, refresh } from "./files.js";
import { inWordsOfThePage } from "./labels.js";
import { go } from "./route.js";
import { ask } from "./server.js";
import { parsed } from "./words.js";

const MODE = ["modes", 0], PLANE = [...MODE, "planes", 0];
const FIELDS = {
  name: { label: "name of the camera", key: ["camera"], text: true, help: "Any name; it stands in plans and reports." },
  pixel: { label: "side of a pixel", key: [...MODE, "pixel_um"], unit: "µm", range: [0.3, 200], value: 3.76, help: "The sheet is right about it." },
  width: { label: "pixels across", key: [...MODE, "width_px"], range: [1, 100_000], value: 4000, help: "How many there are side by side." },
  height: { label: "pixels down", key: [...MODE, "height_px"], range: [1, 100_000], value: 3000, help: "How many there are one above the other." },
  gain: { label: "gain setting", key: [...MODE, "gain_setting"], range: [0, 100_000], value: 100, optional: true, help: "As the driver calls it, the one that you would use. The next four numbers are those at this setting." },
  read: { label: "read noise", key: [...PLANE, "read_noise_e"], unit: "e⁻", range: [0.01, 1000], value: 1.5, help: "From its curve over gain. It is often the median pixel’s, and the mean of all is higher by 5 to 20 %." },
  step: { label: "electrons in one step", key: [...PLANE, "gain_e_per_dn"], unit: "e⁻", range: [0.0001, 1000], value: 0.25, help: "Of one step in the file. For 14 bits stored in 16, divide the sheet’s number by four." },
  well: { label: "what a pixel holds", key: [...PLANE, "saturation_e"], unit: "e⁻", range: [1, 10_000_000], value: 15_000, help: "At this gain: full well, or what the converter ends at, whichever is less." },
  cold: { label: "temperature of the dark current", unit: "°C", range: [-120, 60], value: -10, help: "It stands beside the dark current on the sheet. Without one the number says little: it doubles every 5 to 8 K." },
  dark: { label: "dark current", unit: "e⁻/s", range: [0, 10_000], optional: true, help: "Only with the temperature that stands beside it on the sheet. Without one, leave it empty: a cautious value is taken." },
};

const typed = {};

export function sheet() {
  const help = el("p", { class: "note", role: "status" }, "Each number is known to 10 %, and the plan carries that along.");
  const said = el("div", {});
  const make = (name) => {
    const own = FIELDS[name];
    const input = el("input", { type: "text", inputmode: own.text ? null : "decimal", class: "word inner field", "data-sheet": name, "aria-label": own.label, autocomplete: "off", spellcheck: "false", maxlength: 60, value: typed[name] ?? (own.value === undefined ? "" : String(own.value).replace("-", "−")), placeholder: own.text ? "a name" : "–" });
    const width = () => { input.style.width = `${Math.max(4, input.value.length + 1, input.placeholder.length + 1)}ch`; };
    width();
    input.addEventListener("focus", () => { input.select(); help.replaceChildren(own.help); });
    input.addEventListener("input", () => { typed[name] = input.value; width(); });
    return el("span", { class: "unit" }, input, own.unit ? united("", own.unit) : "");
  };
  const wrong = () => {
    for (const [name, own] of Object.entries(FIELDS)) {
      const raw = String(typed[name] ?? own.value ?? "");
      if (own.text) { if (raw.trim() === "") return [name, "The camera has no name yet."]; continue; }
      const value = parsed(raw);
      if (value === null && own.optional) continue;
      if (value === null || value === undefined || value < own.range[0] || value > own.range[1]) return [name, `${capital(own.label)} lies between ${written(own.range[0])} and ${united(written(own.range[1]), own.unit)}.`];
    }
    return null;
  };
  const begin = async () => {
    const found = wrong();
    if (found) { said.replaceChildren(el("div", { class: "problem", role: "alert" }, found[1])); document.querySelector(`[data-sheet=${found[0]}]`).focus(); return; }
    const value = (name) => (FIELDS[name].text ? String(typed[name]).trim() : parsed(String(typed[name] ?? FIELDS[name].value ?? "")));
    const changes = Object.entries(FIELDS).filter(([, own]) => own.key).map(([name, own]) => ({ key: own.key, value: value(name) })).filter(({ value: one }) => one !== null);
    if (value("dark") !== null) changes.push({ key: [...PLANE, "dark_current"], value: [{ sensor_c: value("cold"), e_per_s: value("dark") }] });
    const stem = value("name").toLowerCase().normalize("NFKD").replace(/[^a-z0-9]+/g, "-").replace(/^-|-$/g, "") || "camera";
    try {
      const camera = free(stem, folder.profiles), night = free(`${stem}-night`, folder.nights);
      await ask("POST", "/api/new", { path: camera, camera: true, changes });
      await ask("POST", "/api/new", { path: night, camera: false, changes: [{ key: ["camera", "profile"], value: camera }, ...(value("gain") === null ? [] : [{ key: ["camera", "gain_setting"], value: value("gain") }])] });
      await refresh();
      await openNight(night);
      if (document.querySelector("#question").hidden) go("night");
    } catch (error) { said.replaceChildren(el("div", { class: "problem", role: "alert" }, el("p", {}, inWordsOfThePage(error.message)), error.hint ? el("p", { class: "small" }, inWordsOfThePage(error.hint)) : "")); }
  };
  return el("div", { class: "sheet" }, el("p", { class: "fields" }, "The ", make("name"), " has pixels of ", make("pixel"), ", ", make("width"), " × ", make("height"), " of them. At gain ", make("gain"), " it reads with ", make("read"), ", one step is ", make("step"), " and a pixel holds ", make("well"), ". At ", make("cold"), " its dark current is ", make("dark"), "."),
    help, said, el("p", {}, button("plan with this", begin, { class: "act" })));
}

function free(stem, taken) {
  for (let i = 1; ; i += 1) { const name = `${stem}${i === 1 ? "" : `-${i}`}.toml`; if (!taken.includes(name)) return name; }
}
