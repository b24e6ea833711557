/** What the decision rests on: the evidence for either direction, what was not seen, and all the tables, folded. */
import { el } from "../../dom.js";
import { number, withMinus } from "../../format.js";
import { asSentence } from "../../trade_words.js";
import { reasonsBesideTests } from "../../answer_words.js";
import { withCalibrationInUse } from "./recalibrated.js";
import { confounderTable, placeTable, sideTable, signTable, stepTable, sweepTable, validityTable } from "./tables.js";

const WAYS = /** @type {const} */ ([["forward", "Speaks for further forward"], ["back", "Speaks for further back"]]);
/** Where to make up for what was not seen: label, screen, action. */
const CURES = /** @type {const} */ ([
  ["ask", "Not asked", "#client", "Ask it"],
  ["ride", "Not ridden", "#plan", "Plan it"],
  ["enter", "Not entered", "#client", "Enter it"],
]);

/** @param {any} found @returns {HTMLElement} */
export function ways({ leanings }) {
  return el(
    "div",
    { class: "ways" },
    ...WAYS.map(([way, words]) => {
      const own = leanings.filter((/** @type {any} */ each) => each.way === way);
      const rows = own.map((/** @type {any} */ each) => el("li", { title: withMinus(each.why) }, el("b", {}, each.title), el("span", {}, withMinus(each.number)), el("small", {}, withMinus(each.why))));
      return el("section", {}, el("h2", {}, words), rows.length ? el("ul", {}, ...rows) : el("p", { class: "note" }, "Nothing seen."));
    }),
  );
}

/** One line for everything that was not asked or ridden, each kind with a link. @param {any} found */
export function notSeen({ not_seen }) {
  const parts = CURES.flatMap(([cure, words, to, act]) => {
    const what = not_seen.filter((/** @type {any} */ each) => each.cure === cure).map((/** @type {any} */ each) => each.what);
    return what.length ? [el("span", {}, `${words}: ${what.join(", ")}. `, el("a", { href: to }, act), " ")] : [];
  });
  return parts.length ? el("p", { class: "not-seen" }, ...parts) : null;
}

/** @param {any} found @param {HTMLSelectElement} beside @param {string} told what stands under the chart: its cures are not said again */
export function tables(found, beside, told) {
  const main = found.sweeps.find((/** @type {any} */ each) => each.sweep_id === found.main);
  const items = (/** @type {string[]} */ texts) => el("ul", {}, ...texts.map((one) => el("li", {}, asSentence(withMinus(one)))));
  const fold = (/** @type {string} */ words, /** @type {(Node|null)[]} */ ...nodes) => el("details", {}, el("summary", {}, words), ...nodes);
  const wide = (/** @type {string} */ name, /** @type {HTMLElement} */ table) => el("div", { class: "wide", tabindex: "0", role: "region", "aria-label": name }, table);
  return [
    main?.onset?.validity?.length ? fold("What the answer withstood", items(reasonsBesideTests(main.onset)), wide("Tests of validity", validityTable(main.onset.validity, told))) : null,
    fold("Signs that the saddle is too far back", wide("Signs", signTable(found.signs))),
    fold("What else could have made it", wide("What else could have made it", confounderTable(found.confounders))),
    fold("On the client’s own bicycle", wide("Own bicycle", placeTable(found.places, found.com_height)), found.sides.length ? wide("Sides", sideTable(found.sides)) : null),
    fold("Sweeps of the day, and of an earlier visit", wide("Sweeps", sweepTable(found.sweeps)), found.sweeps.length ? withCalibrationInUse(found.sweeps) : null, el("p", { class: "field", hidden: !found.earlier.length }, el("label", { for: "compare" }, "Lay an earlier visit beside it"), beside), found.differences.length ? items(found.differences) : null, found.against.length ? items([...new Set(/** @type {string[]} */ (found.against.flatMap((/** @type {any} */ one) => one.said)))]) : null),
    found.steps.length ? fold("Step by step: geometry, shares, stroke", wide("Step by step", stepTable(found.steps))) : null,
  ].filter((node) => node !== null);
}
