// The places beside the night in a page that is a file.

import * as card from "./card.js";
import * as choices from "./choices.js";
import * as home from "./home.js";

export const places = { card: { show: card.open, leave: card.leave, start: () => { card.start(); home.start(); } }, choices };
/** Is told each plan. */
export const planned = card.told;
