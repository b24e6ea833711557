/**
 * The reading card of a rig without a board: it calls when the scale is to be read, takes what is typed, and then the
 * power and cadence the trainer shows. A call is a beep and words; the field has the keys from then on.
 */
import { ask } from "../../commands.js";
import { beep } from "../../cues.js";
import { changes, el, setAttribute, setText } from "../../dom.js";
import { number } from "../../format.js";
import { numberIn, numberInput } from "../../number_field.js";

/** @typedef {import("../../state.js").State} State @typedef {import("../../store.js").Store} Store */

/** So long before a call its countdown stands in large figures. */
const SOON_S = 3;

/** @param {Store} store @returns {{node: HTMLElement, draw: (state: State, now_ms: number) => void}} */
export function readingPanel(store) {
  const words = el("p", { class: "reading-words" });
  const spoken = el("p", { class: "unseen", role: "status" });
  const hands = numberInput({ words: "Hands", required: true }, { id: "reading-hands" });
  const saddle = numberInput({ words: "Saddle" }, { id: "reading-saddle" });
  const of_saddle = el("label", { for: "reading-saddle" }, "Saddle ", saddle);
  const unit = el("span", { class: "unit" });
  const sure = el("button", { type: "button", class: "small", onclick: () => void send(true) }, "It is so: take it");
  const form = el(
    "form",
    { class: "reading-entry", onsubmit: (/** @type {Event} */ event) => (event.preventDefault(), void send(false)) },
    el("label", { for: "reading-hands" }, "Hands ", hands),
    of_saddle,
    unit,
    el("button", { type: "submit", class: "main" }, "Take the reading"),
    sure,
  );
  const power = numberInput({ words: "Power", unit: "W", least: 0, most: 2000, required: true }, { id: "reading-power" });
  const cadence = numberInput(
    { words: "Cadence", unit: "rpm", least: 1, most: 250, required: true },
    { id: "reading-cadence" },
  );
  const effort = el(
    "form",
    { class: "reading-entry", onsubmit: (/** @type {Event} */ event) => (event.preventDefault(), void sendEffort()) },
    el("label", { for: "reading-power" }, "Power, W ", power),
    el("label", { for: "reading-cadence" }, "Cadence, rpm ", cadence),
    el("button", { type: "submit" }, "Take the effort"),
  );
  const node = el("section", { class: "reading", "aria-label": "Reading of the scale" }, words, spoken, form, effort);

  const moved = changes();
  const told = changes();
  /** @type {number[]} */
  let due_ms = [];
  let called = "";
  let doubted = "";

  async function send(/** @type {boolean} */ certain) {
    if (Number.isNaN(numberIn(hands))) return;
    const shown = { hands: hands.value.trim(), saddle: of_saddle.hidden ? null : saddle.value.trim() };
    const taken = await ask(store, "reading", "POST", "/api/v1/typed/readings", { ...shown, sure: certain });
    doubted = taken ? "" : shown.hands;
    if (!taken) return hands.select();
    for (const each of [hands, saddle]) {
      each.value = "";
      each.blur();
    }
  }
  async function sendEffort() {
    const content = { power_w: numberIn(power), cadence_rpm: numberIn(cadence) };
    if (Object.values(content).some(Number.isNaN)) return;
    // The next key is the large button's again: it must not land in a field.
    if (await ask(store, "effort", "POST", "/api/v1/typed/effort", content)) [power, cadence].forEach((each) => each.blur());
  }

  /** @param {State} state @param {number} now_ms */
  function draw(state, now_ms) {
    const typed = state.sweep?.typed;
    setAttribute(node, "hidden", !typed || typed.due_in_s.length === 0);
    if (!typed || !state.sweep) return;
    if (moved(typed)) due_ms = typed.due_in_s.map((/** @type {number} */ due_s) => now_ms + 1000 * due_s);
    const left_s = typed.taken < due_ms.length ? (due_ms[typed.taken] - now_ms) / 1000 : null;
    const open = left_s !== null && left_s <= 0;
    setText(words, sentence(typed, left_s));
    setText(unit, typed.unit);
    setAttribute(of_saddle, "hidden", !typed.saddle);
    setAttribute(form, "hidden", left_s === null);
    setAttribute(effort, "hidden", !typed.wants_effort);
    setAttribute(sure, "hidden", !doubted || hands.value.trim() !== doubted);
    setAttribute(node, "data-call", open);
    const call = `${state.sweep.step}:${typed.taken}`;
    if (open && called !== call) {
      called = call;
      if (state.settings.beeps) beep("recording");
      hands.focus();
    }
    if (told(open, typed.taken, state.sweep.step)) setText(spoken, open ? "Read the scale now" : "");
  }
  return { node, draw };
}

/** @param {any} typed @param {number|null} left_s */
function sentence(typed, left_s) {
  const all = typed.due_in_s.length;
  const which = `reading ${Math.min(typed.taken + 1, all)} of ${all}`;
  if (left_s === null) return typed.wants_effort ? "All readings taken: type power and cadence" : "All readings taken";
  if (left_s <= 0) return `READ NOW: ${which}`;
  return left_s < SOON_S ? `${which[0].toUpperCase()}${which.slice(1)} in ${Math.ceil(left_s)}` : `Wait for ${which}: ${number(left_s)} s`;
}
