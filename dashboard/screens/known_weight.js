/** The daily check of a scale that a person reads: a known weight where the hands rest, in place of the zero of a board. */
import { ask } from "../commands.js";
import { el, setAttribute, setText } from "../dom.js";
import { numberIn, numberInput } from "../number_field.js";

/** @typedef {import("../store.js").Store} Store @typedef {import("../state.js").State} State */

/** @param {Store} store @returns {{node: HTMLElement, draw: (state: State) => void}} */
export function knownWeightPlate(store) {
  const unit = el("span", {});
  const known = numberInput(
    { words: "Known weight", unit: "kg", least: 0.1, most: 150, required: true },
    { id: "weight-known" },
  );
  const empty = numberInput({ words: "Display, empty", required: true }, { id: "weight-empty" });
  const loaded = numberInput({ words: "Display, with it", required: true }, { id: "weight-loaded" });
  const said = el("p", { class: "here", role: "status" });
  const node = el(
    "form",
    { class: "plate", "aria-label": "Known weight", onsubmit: check },
    el("h2", {}, "The scale, with a known weight where the hands rest"),
    el("p", { class: "here" }, "Display in ", unit, ". Nobody on the bicycle."),
    el("label", { for: "weight-known" }, "Known weight, kg ", known),
    el("label", { for: "weight-empty" }, "Display, empty ", empty),
    el("label", { for: "weight-loaded" }, "Display, with it ", loaded),
    el("button", { type: "submit" }, "Check the scale"),
    said,
  );

  async function check(/** @type {Event} */ event) {
    event.preventDefault();
    const content = { on: "hands", known_kg: numberIn(known), empty: empty.value.trim(), loaded: loaded.value.trim() };
    const made = await ask(store, "weight", "POST", "/api/v1/typed/check", content);
    setText(said, made ? made.sentence : "");
  }
  return {
    node,
    draw({ rig }) {
      setAttribute(node, "hidden", !rig?.typed);
      setText(unit, rig?.typed?.unit ?? "");
    },
  };
}
