/** What would help most: each further test with the width it would leave, as a button that plans it. */
import { el } from "../../dom.js";
import { number } from "../../format.js";
import { asSentence } from "../../trade_words.js";
import { wishFor } from "../../wish.js";

/** @typedef {{repeat: () => void, decide: () => void}} Acts of the decision's own panel: another day, and nothing more */
/** @type {Record<string, (main: any, acts: Acts) => void>} */
const PLANS = {
  "nothing more": (_, { decide }) => decide(),
  "one more sweep today": (main) => wishFor({ ...asIt(main), label: "again", why: "The same sweep once more today." }),
  "one twice as long today": (main) => wishFor({ ...asIt(main), label: "longer", dwell_times: 2, why: "The same sweep with twice the time at each position." }),
  "one on another day": (_, { repeat }) => repeat(),
};

/** Narrowest first; one whose end stays open comes last. @param {any} found @param {any} days @param {Acts} acts */
export function helps(found, days, acts) {
  if (!days?.helps?.length) return null;
  const main = found.sweeps.find((/** @type {any} */ each) => each.sweep_id === found.main);
  const width = (/** @type {any} */ each) => each.width_mm ?? Infinity;
  const ordered = [...days.helps].sort((a, b) => width(a) - width(b));
  return el(
    "section",
    { class: "helps", "aria-label": "What would help most" },
    el("h2", {}, "What would help most"),
    el("p", { class: "note" }, days.spreads_from),
    ...days.moved.map((/** @type {any} */ each) => el("p", { class: each.clear ? "clear" : "note" }, each.said)),
    el("ul", {}, ...ordered.map((each) => el("li", {}, el("button", { type: "button", onclick: () => PLANS[each.what](main, acts) }, asSentence(each.what).replace(/\.$/, "")), el("span", {}, each.width_mm === null ? "one end stays open" : `the onset of another day within ${number(each.width_mm)}\u00a0mm`)))),
  );
}

/** Where and on which gradient the main sweep was ridden. */
function asIt(/** @type {any} */ main) {
  const at = main.steps.map((/** @type {any} */ step) => Math.round(step.setback_mm));
  return { rear_mm: Math.max(...at), front_mm: Math.min(...at), gradient_pct: main.gradient_pct };
}
