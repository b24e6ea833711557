/** The move card: where saddle and bar go, in figures read from two metres, with a picture of it. */
import { look } from "../../commands.js";
import { changes, el, setAttribute, setText } from "../../dom.js";
import { asTyped, number } from "../../format.js";
import { parts, placeAsked, placeBefore } from "../../moving.js";
import { numberIn, numberInput, writeNumber } from "../../number_field.js";
import { sideView } from "../../side_view.js";
import { moveTold } from "../../words.js";

/** @typedef {import("../../state.js").State} State @typedef {import("../../store.js").Store} Store */

const SHOWN = 3;
/** What can be corrected beside the setback, which has its steppers: name, words. The daemon knows the jig's limits. */
const OTHERS = /** @type {const} */ ([
  ["saddle_height_mm", "Saddle height, mm"],
  ["bar_x_mm", "Bar ahead of the BB, mm"],
  ["bar_y_mm", "Bar above the BB, mm"],
  ["saddle_tilt_deg", "Tilt of the saddle, °"],
]);

/** @param {Store} store */
export function moveCard(store) {
  const cells = Array.from({ length: SHOWN }, figure);
  const told = el("p", { class: "move-told" });
  const picture = el("div", { class: "picture" });
  const fields = OTHERS.map(([name, words]) => ({ name, ...correctionField(name, words, (value) => correct(name, value)) }));
  const correction = el("details", { class: "correct" }, el("summary", {}, "Something else was set"), el("div", { class: "fields" }, ...fields.map((each) => each.node)));
  const node = el("div", { class: "move-card" }, el("div", { class: "figures-row" }, ...cells.map((each) => each.node)), told, picture, correction);
  const pictureChanged = changes();
  /** @type {State["corrections"]|null} as this card last left them: others mean that a position is asked anew */
  let known = null;

  function correct(/** @type {string} */ name, /** @type {number|null} */ value) {
    store.dispatch({ type: "page/correction", name, value });
    known = store.state.corrections;
  }

  const enteredAnew = changes();
  let asked = 0;
  /** Another setback is set than the one requested: which height and bar go with it, only the daemon knows. */
  async function askBeside(/** @type {number} */ setback_mm) {
    const mine = ++asked;
    const placed = await look(`/api/v1/sweep/place?setback_mm=${setback_mm}`);
    if (mine === asked && typeof placed?.setback_mm === "number") store.dispatch({ type: "page/beside", setback_mm, placed });
  }

  /** @param {State} state */
  function draw(state) {
    const { sweep, entry_mm } = state;
    const target = sweep?.target;
    setAttribute(node, "hidden", sweep?.state !== "moving" || !target);
    if (sweep?.state !== "moving" || !target) return;
    const there = placeAsked(state);
    if (enteredAnew(entry_mm, sweep.sweep_id, sweep.step, state.link.state) && !there && entry_mm !== null) void askBeside(entry_mm);
    const shown = parts(state);
    for (const [i, cell] of cells.entries()) cell.draw(shown[i], state.settings.one_by_one && i < state.ticked);
    setText(told, moveTold(sweep));
    const [setback, height, bar] = ["setback_mm", "saddle_height_mm", "bar_x_mm"].map((name) => shown.find((each) => each.name === name)?.value_mm ?? null);
    const before = placeBefore(state);
    // Until the daemon has answered the picture stays as it was: one without height and bar would show a jump.
    if (there && pictureChanged(setback, height, bar, there.bar_y_mm, before)) {
      const now = { setback_mm: setback ?? target.setback_mm, saddle_height_mm: height, bar_x_mm: bar, bar_y_mm: there.bar_y_mm };
      picture.replaceChildren(sideView(now, before));
    }
    const anew = state.corrections !== known;
    if (anew) correction.open = false;
    known = state.corrections;
    for (const { name, draw: drawField } of fields) drawField(state.corrections[name] ?? there?.[name] ?? null, anew);
  }
  return { node, draw };
}

/**
 * A field that shows what is going to be confirmed, unless somebody is typing in it or it holds no number.
 * @param {string} name @param {string} words @param {(value: number|null) => void} correct null: as asked
 */
function correctionField(name, words, correct) {
  const input = numberInput({ words }, { id: `set-${name}`, "aria-describedby": `set-${name}-wrong` });
  const wrong = el("p", { class: "wrong", id: `set-${name}-wrong`, role: "alert" });
  const node = el("div", {}, el("p", { class: "field number" }, el("label", { for: `set-${name}` }, words), input), wrong);
  const say = () => setText(wrong, input.validationMessage);
  input.addEventListener("change", () => {
    say();
    const value = numberIn(input);
    correct(Number.isNaN(value) ? null : value);
  });
  // A complaint goes at once when it is mended; a new one waits until the number is typed to its end.
  input.addEventListener("input", () => input.validity.valid && say());

  /** @param {number|null} value @param {boolean} anew */
  function draw(value, anew) {
    const text = value === null ? "" : asTyped(value);
    if (input.value === text || (!anew && (!input.validity.valid || input === document.activeElement))) return;
    writeNumber(input, value);
    say();
  }
  return { node, draw };
}

/** Takes the fitter to a correction that is no number; false if there is none. What was typed must not count as planned. */
export function asksForNumber() {
  const input = /** @type {HTMLInputElement|null} */ (document.querySelector(".correct input:invalid"));
  const fold = input?.closest("details");
  if (!input || !fold) return false;
  fold.open = true;
  input.focus();
  return true;
}

function figure() {
  const words = el("p", { class: "figure-words" });
  const value = el("span", { class: "figure-value" });
  const change = el("p", { class: "figure-change" });
  const node = el("div", { class: "figure-cell" }, words, el("p", { class: "figure-line" }, value, el("small", {}, "mm")), change);

  /** @param {import("../../moving.js").Part|undefined} part @param {boolean} done */
  function draw(part, done) {
    setAttribute(node, "hidden", !part);
    if (!part) return;
    setAttribute(node, "data-done", done || undefined);
    setText(words, part.words);
    setText(value, number(part.value_mm));
    setText(change, done ? `✓ ${part.change || "set"}` : part.change);
  }
  return { node, draw };
}
