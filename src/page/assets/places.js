// The places beside the night, where the program serves the page.

import * as begin from "./begin.js";
import * as camera from "./camera.js";
import * as choices from "./choices.js";
import * as morning from "./morning.js";

export const places = { start: begin, camera, choices, morning };
/** Is told each plan. */
export const planned = () => {};
