/**
 * The reading card of a rig without a board: it says when the scale is to be read, takes what is typed, and then the
 * power and cadence the trainer shows. A call is a beep and words; the field has the keys from then on. After a fault
 * that hid the card, it calls again. What was taken though its answer got lost does not stay in the field.
 */
import { ask } from "../../commands.js";
import { beep } from "../../cues.js";
import { changes, el, setAttribute, setText } from "../../dom.js";
import { counted, number, rpm, watts } from "../../format.js";
import { numberIn, numberInput, writeNumber } from "../../number_field.js";

/** @typedef {import("../../state.js").State} State @typedef {import("../../store.js").Store} Store */
/** @typedef {import("../../messages.js").Typed} Typed */

/** The daemon's code for a reading that looks like a slip. */
const DOUBTED = "doubted";

/** @param {Store} store @returns {{node: HTMLElement, draw: (state: State, now_ms: number, trouble: boolean) => void}} */
export function readingPanel(store) {
  const which = el("p", { class: "reading-which" });
  const words = el("p", { class: "reading-words" });
  const spoken = el("p", { class: "unseen", role: "status" });
  const taken = el("p", { class: "reading-taken" });
  const scale = scaleForm(store);
  const effort = effortForm(store);
  const node = el("section", { class: "reading", "aria-label": "Reading of the scale" }, which, words, scale.node, effort.node, taken, spoken);

  const told = changes();
  /** @type {Typed|null} */
  let drawn = null;
  /** @type {number[]} */
  let due_ms = [];
  let called = "";

  function draw(/** @type {State} */ { rig, settings, sweep }, /** @type {number} */ now_ms, /** @type {boolean} */ trouble) {
    const typed = rig?.typed && sweep && !trouble ? sweep.typed : null;
    setAttribute(node, "hidden", !typed?.due_in_s.length);
    if (!typed?.due_in_s.length || !sweep) return void (called = "");
    // Each message tells the moments anew, from the daemon's clock.
    if (typed !== drawn) due_ms = typed.due_in_s.map((due_s) => now_ms + 1000 * due_s);
    drawn = typed;
    const left_s = typed.taken < due_ms.length ? (due_ms[typed.taken] - now_ms) / 1000 : null;
    const open = left_s !== null && left_s <= 0;
    const all = due_ms.length;
    setText(which, left_s === null ? `All ${counted(all, "reading")} taken` : `Reading ${number(typed.taken + 1)} of ${number(all)}`);
    setText(words, callWords(typed, left_s));
    setText(taken, takenWords(typed));
    setAttribute(node, "data-call", open || undefined);
    setAttribute(node, "data-taken", left_s === null || undefined);
    const call = `${sweep.step}:${typed.taken}:${left_s === null}`;
    scale.draw(typed, left_s !== null, call);
    effort.draw(typed.wants_effort && left_s === null);
    if (called !== call && (open || (left_s === null && typed.wants_effort))) {
      called = call;
      if (settings.beeps) beep("recording");
      (open ? scale : effort).focus();
    }
    if (told(open, typed.taken, sweep.step)) setText(spoken, open ? "Read the scale now" : "");
  }
  return { node, draw };
}

/** What the display shows, and the word that it is so though it looks like a slip. @param {Store} store */
function scaleForm(store) {
  const hands = numberInput({ words: "Hands", required: true }, { id: "reading-hands" });
  const saddle = numberInput({ words: "Saddle" }, { id: "reading-saddle" });
  const of_saddle = el("label", { for: "reading-saddle" }, "Saddle ", saddle);
  const unit = el("span", { class: "unit" });
  const sure = el("button", { type: "button", onclick: () => send(true) }, "It is so: take it");
  const node = el(
    "form",
    { class: "reading-entry", onsubmit: (/** @type {Event} */ event) => (event.preventDefault(), send(false)) },
    el("label", { for: "reading-hands" }, "Hands ", hands),
    of_saddle,
    unit,
    el("button", { type: "submit", class: "main" }, "Take the reading"),
    sure,
  );
  let doubted = "";
  let sent = "";
  let asked_for = "";
  /** Both fields: when either is changed, the doubt is about something else. */
  const entry = () => `${hands.value.trim()} ${saddle.value.trim()}`;

  function send(/** @type {boolean} */ certain) {
    const typed = of_saddle.hidden ? [hands] : [hands, saddle];
    if (!typed.some((each) => Number.isNaN(numberIn(each)))) store.inTurn(() => sendNow(certain));
  }
  async function sendNow(/** @type {boolean} */ certain) {
    const shown = { hands: hands.value.trim(), saddle: of_saddle.hidden ? null : saddle.value.trim() };
    sent = entry();
    const taken = await ask(store, "reading", "POST", "/api/v1/typed/readings", { ...shown, sure: certain });
    doubted = taken || store.state.problem_code !== DOUBTED ? "" : entry();
    if (!taken) return hands.select();
    if (!sent || entry() !== sent) return; // the stream was faster, and the next reading is being typed
    clear();
    for (const each of [hands, saddle]) each.blur();
  }
  function clear() {
    sent = "";
    for (const each of [hands, saddle]) writeNumber(each, null);
  }
  function draw(/** @type {Typed} */ typed, /** @type {boolean} */ open, /** @type {string} */ call) {
    if (asked_for !== call && sent && entry() === sent) clear();
    asked_for = call;
    setText(unit, typed.unit);
    setAttribute(of_saddle, "hidden", !typed.saddle);
    setAttribute(node, "hidden", !open);
    setAttribute(sure, "hidden", !doubted || entry() !== doubted);
  }
  return { node, draw, focus: () => hands.focus() };
}

/** Power and cadence of the position, typed anew at each: a value left standing would be confirmed unread. @param {Store} store */
function effortForm(store) {
  const power = numberInput({ words: "Power", unit: "W", least: 0, most: 2000, required: true }, { id: "reading-power" });
  const cadence = numberInput({ words: "Cadence", unit: "rpm", least: 1, most: 250, required: true }, { id: "reading-cadence" });
  const node = el(
    "form",
    { class: "reading-entry", onsubmit: (/** @type {Event} */ event) => (event.preventDefault(), store.inTurn(send)) },
    el("label", { for: "reading-power" }, "Power, W ", power),
    el("label", { for: "reading-cadence" }, "Cadence, rpm ", cadence),
    el("button", { type: "submit" }, "Take the effort"),
  );

  async function send() {
    const content = { power_w: numberIn(power), cadence_rpm: numberIn(cadence) };
    if (Object.values(content).some(Number.isNaN)) return;
    if (!(await ask(store, "effort", "POST", "/api/v1/typed/effort", content))) return power.select();
    for (const each of [power, cadence]) each.blur(); // the next key is the large button's again
  }
  function draw(/** @type {boolean} */ wanted) {
    if (!wanted) for (const each of [power, cadence]) if (each.value) writeNumber(each, null);
    setAttribute(node, "hidden", !wanted);
  }
  return { node, draw, focus: () => power.focus() };
}

/** What stands of this position, and what a power sensor tells. @param {Typed} typed */
function takenWords({ shown, shown_saddle, unit, effort, heard }) {
  const taken = shown.map((hands, i) => (shown_saddle.length ? `${hands} / ${shown_saddle[i]}` : hands));
  const said = taken.length ? `Taken: ${taken.join(", ")} ${unit}` : "";
  if (effort !== "sensor") return said;
  const power = heard ? effortWords(heard) : "The power sensor is silent";
  return said ? `${said}. ${power}` : power;
}

/** @param {{power_w: number, cadence_rpm: number|null}} heard */
function effortWords({ power_w, cadence_rpm }) {
  return cadence_rpm === null ? `${watts(power_w)} without a cadence: the effort is unknown` : `${watts(power_w)} at ${rpm(cadence_rpm)}`;
}

/** @param {Typed} typed @param {number|null} left_s until the next call; null when all are taken */
function callWords(typed, left_s) {
  if (left_s === null) return typed.wants_effort ? "Type power and cadence" : "";
  return left_s <= 0 ? "READ NOW" : `in ${number(Math.ceil(left_s))} s`;
}
