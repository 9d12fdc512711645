// Reports to keep and to print, the same that the commands write.

import { button, download, el } from "./dom.js";
import { inWordsOfThePage } from "./labels.js";
import { draft, night } from "./night.js";
import { ask } from "./server.js";

/** Asks for a report and gives it away as a page; what went wrong stands in `said`. */
export async function reported(of, name, said) {
  try {
    const { report } = await ask("POST", "/api/report", night.path ? { of, night: draft() } : { of });
    download(`${name}.html`, "text/html", report);
    said.replaceChildren();
  } catch (error) { said.replaceChildren(inWordsOfThePage(error.message)); }
}

/** What the night is called in names of files. */
export const stem = () => (night.path ?? "night").replace(/^.*\//, "").replace(/\.toml$/i, "");

/** A button for a report, with the place for what went wrong. */
export function reportButton(of, name) {
  const said = el("span", { role: "status" });
  return [button("a report, to keep and to print", () => reported(of, name(), said), { class: "act", "data-report": of }), " ", said];
}
