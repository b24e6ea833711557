/** The daily check of a scale that a person reads: a known weight where the hands rest, in place of a bench for cells. */
import { ask } from "../../commands.js";
import { el, setAttribute, setText } from "../../dom.js";
import { field, read } from "../../form.js";

/** @typedef {import("../../store.js").Store} Store @typedef {import("../../state.js").State} State */

/** @param {Store} store @returns {{node: HTMLElement, draw: (state: State) => void}} */
export function knownWeight(store) {
  const on = field({ path: "on", words: "Weight on the", kind: "choice", options: ["hands", "saddle"], required: true }, "weight");
  const known = field({ path: "known", words: "Known weight", kind: "number", unit: "kg", least: 0.1, most: 150, required: true }, "weight");
  const empty = field({ path: "empty", words: "Display, empty", kind: "number", required: true }, "weight");
  const loaded = field({ path: "loaded", words: "Display, with it", kind: "number", required: true }, "weight");
  const settles = field({ path: "settles", words: "It stands still after", kind: "number", unit: "s", least: 0, most: 50, required: true }, "weight");
  const unit = el("span", {});
  const said = el("p", { class: "here", role: "status" });
  const node = el(
    "form",
    { "aria-label": "Known weight", onsubmit: (/** @type {Event} */ event) => (event.preventDefault(), store.inTurn(check)) },
    el("p", { class: "here" }, "The weight where the hands rest, or where the rider sits, nobody on the bicycle. Type what the display shows, in ", unit, ", and how many seconds it took to stand still with the weight on; 0 if it swings with the pedals."),
    on.node,
    known.node,
    empty.node,
    loaded.node,
    settles.node,
    el("button", { type: "submit", class: "act" }, "Check the scale"),
    said,
  );

  async function check() {
    const content = { on: read(on), known_kg: read(known), empty: empty.input.value.trim(), loaded: loaded.input.value.trim(), settles_s: read(settles) };
    const made = await ask(store, "weight", "POST", "/api/v1/typed/check", content);
    setText(said, made ? made.sentence : "");
  }
  return {
    node,
    draw({ rig }) {
      setText(unit, rig?.typed?.unit ?? "");
      setAttribute(on.node, "hidden", (rig?.typed?.scales.length ?? 0) < 2);
    },
  };
}
