/** What the rider says of the step, one tap a question, and the saddle's tilt as read after the move. */
import { ask } from "../../commands.js";
import { el, setAttribute, setText } from "../../dom.js";
import { number } from "../../format.js";
import { numberIn, numberInput } from "../../number_field.js";
import { questionNow } from "../../words.js";

/** @typedef {import("../../state.js").State} State @typedef {import("../../store.js").Store} Store */

/** @param {Store} store @param {string} what @param {number} value */
export function noteStep(store, what, value) {
  return ask(store, "note", "POST", "/api/v1/step-notes", { what, value });
}

/** Scores the question that is open, if one is. @param {Store} store @param {number} value */
export function score(store, value) {
  const question = questionNow(store.state);
  if (question) void noteStep(store, question.what, value);
}

/** @param {Store} store */
export function saysPanel(store) {
  const words = el("p", { class: "says-words", role: "status" });
  const buttons = Array.from({ length: 11 }, (_, value) =>
    el("button", { type: "button", class: "score", onclick: () => store.inTurn(() => score(store, value)) }, number(value), value > 9 ? el("kbd", {}, "+") : ""),
  );
  const tilt = numberInput({ words: "Saddle tilt", unit: "°", least: -20, most: 20, step: 0.1 }, { id: "step-tilt" });
  const keep = el("button", { type: "submit", class: "small" }, "Keep");
  const form = el(
    "form",
    { class: "tilt-entry", onsubmit: keepTilt },
    el("label", { for: "step-tilt" }, "Saddle tilt, °"),
    tilt,
    keep,
  );
  const node = el(
    "section",
    { class: "says", "aria-label": "What the rider says of this step" },
    words,
    el("div", { class: "scores" }, ...buttons),
    form,
  );

  async function keepTilt(/** @type {Event} */ event) {
    event.preventDefault();
    if (Number.isNaN(numberIn(tilt))) return;
    if (await noteStep(store, "saddle_tilt_deg", numberIn(tilt))) tilt.blur();
  }

  /** @param {State} state */
  function draw(state) {
    const question = questionNow(state);
    setText(words, question?.words ?? "Rider’s scores, 0–10");
    for (const each of buttons) setAttribute(each, "disabled", !question);
    setAttribute(keep, "disabled", !question || state.sending !== null);
  }
  return { node, draw };
}
