/** The daily check: zero, then one known weight, and the calibration's reading of it. */
import { barred, jigTaken, noLoads } from "../../barred.js";
import { ask } from "../../commands.js";
import { changes, el, setAttribute, setText } from "../../dom.js";
import { field, gather, withoutNulls } from "../../form.js";
import { spoken } from "../../trade_words.js";
import { zeroPlate } from "../zero.js";
import { CERTIFICATE, GRAVITY, WEIGHTS_CLASS, withReference } from "./rows.js";

/** @typedef {import("../../store.js").Store} Store @typedef {import("../../state.js").State} State */

/** @param {Store} store @returns {{nodes: HTMLElement[], draw: (state: State) => void}} */
export function dailyCheck(store) {
  const zero = zeroPlate(store);
  const said = el("p", { class: "ready", role: "status" });
  const check = el("button", { type: "submit", class: "main" }, "Check it");
  const bar = barred(check);
  const rows = el("div", {});
  /** @type {import("../../form.js").Field[]} */
  let fields = [];
  const form = el(
    "form",
    { class: "plate", onsubmit: (/** @type {Event} */ event) => void judge(event), "aria-label": "Daily check" },
    el("h2", {}, "Daily check with one weight"),
    el("p", { class: "here" }, "Take the zero of the empty jig, put the weight on, wait until it hangs still, then check."),
    rows,
    el("p", { class: "page-end" }, check, bar.node),
    said,
  );
  const known = changes();

  async function judge(/** @type {Event} */ event) {
    event.preventDefault();
    tell("", true);
    const made = await ask(store, "check", "POST", "/api/v1/bench/checks", withoutNulls(withReference(gather(fields))));
    if (made) tell(`${made.passed ? "" : "Failed: "}${made.sentence}`, made.passed);
  }
  function tell(/** @type {string} */ sentence, /** @type {boolean} */ passed) {
    setText(said, sentence);
    setAttribute(said, "data-ready", passed && sentence !== "");
    setAttribute(said, "class", passed ? "ready" : "warning");
  }
  return {
    nodes: [zero.node, form],
    draw(state) {
      zero.draw(state);
      bar.draw(jigTaken(state, ["sweep"]) || noLoads(state), state.sending !== null);
      const cells = state.rig?.cells ?? [];
      if (!known(cells.join())) return;
      fields = rowsOf(cells).map((row) => field(row, "check"));
      rows.replaceChildren(...fields.map((each) => each.node));
    },
  };
}

/** @param {string[]} cells @returns {import("../../form.js").Row[]} */
function rowsOf(cells) {
  return [
    { path: "on", words: "The weight is on", kind: "choice", options: ["hands", "saddle", ...cells], say: spoken, required: true },
    { path: "mass_kg", words: "It is", kind: "number", unit: "kg", least: 0.1, most: 500, required: true },
    { ...WEIGHTS_CLASS, words: "Its class (OIML R 111)" },
    ...CERTIFICATE,
    ...GRAVITY,
  ];
}
