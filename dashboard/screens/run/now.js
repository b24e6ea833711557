/** What to do now, in letters that can be read from two metres: a move, a fault, or the step being ridden. */
import { sendMore } from "../../commands.js";
import { el, setAttribute, setProperty, setText } from "../../dom.js";
import { number } from "../../format.js";
import { goOnLabel, instruction, progress, settleLabel } from "../../words.js";
import { moveCard } from "./move.js";
import { painCard } from "./pain.js";
import { readingPanel } from "./reading.js";

/** @typedef {import("../../state.js").State} State @typedef {import("../../glance.js").Glance} Glance */

/** @param {import("../../store.js").Store} store */
export function nowPanel(store) {
  const where = el("h2", { id: "now-title" });
  const lead = el("p", { class: "lead" });
  const value = el("span", { class: "value" });
  const unit = el("span", { class: "unit" });
  const detail = el("p", { class: "detail" });
  const ridden = el("p", { class: "ridden" });
  const still = el("p", { class: "still" });
  const bar = el("div", { class: "progress" }, el("div", { class: "progress-done" }));
  const spoken = el("p", { class: "unseen", role: "status" });
  const figure = el("p", { class: "figure" }, value, " ", unit);
  const card = moveCard(store);
  const goOn = el("button", { type: "button", onclick: () => void sendMore(store, []) });
  const settle = el("button", { type: "button", onclick: () => void sendMore(store, store.state.sweep?.to_settle?.positions_mm ?? []) });
  const more = el("p", { class: "more" }, goOn, settle);
  const pain = painCard(store);
  const reading = readingPanel(store);
  const node = el("section", { class: "now", "aria-labelledby": "now-title" }, where, lead, card.node, figure, bar, ridden, reading.node, detail, more, pain.node, still, spoken);

  /** @param {State} state @param {Glance} seen @param {number} now_ms */
  function draw(state, seen, now_ms) {
    const said = saidNow(state, seen);
    const { sweep } = state;
    const moves = seen.kind === "move" && Boolean(sweep?.target);
    setText(where, progress(state) || "Now");
    setText(lead, said.lead);
    setText(value, said.value);
    setText(unit, said.unit);
    setText(detail, moves ? "" : said.detail);
    setText(still, seen.trouble?.still ?? "");
    setText(ridden, seen.trouble ? "" : riddenNow(sweep));
    setAttribute(figure, "hidden", said.value === "" || moves);
    setAttribute(node, "data-stale", state.link.state !== "open");
    setAttribute(node, "data-kind", seen.kind);
    setAttribute(node, "data-waits", said.waits);
    setAttribute(node, "data-why", Boolean(sweep?.why_here));
    setAttribute(node, "data-state", sweep?.state ?? "none");
    for (const [button, label] of /** @type {const} */ ([[goOn, goOnLabel(sweep)], [settle, settleLabel(sweep)]])) {
      setText(button, label);
      setAttribute(button, "hidden", !label);
      setAttribute(button, "disabled", state.sending !== null);
    }
    card.draw(state);
    pain.draw(state);
    reading.draw(state, now_ms, seen.trouble !== null);
    if (seen.trouble) setAttribute(card.node, "hidden", true);
    drawBar(bar, seen.trouble ? null : sweep);
    setText(spoken, announcement(state, said));
  }
  return { node, draw };
}

/** A fault replaces everything else: no number may be followed while it lasts. */
function saidNow(/** @type {State} */ state, /** @type {Glance} */ { trouble }) {
  if (trouble) return { lead: trouble.act, value: "", unit: "", detail: trouble.then, waits: false };
  return instruction(state);
}

/** Saddle and bar as they were set, while the step is ridden. */
function riddenNow(/** @type {State["sweep"]} */ sweep) {
  if (!sweep?.set || !["settling", "averaging"].includes(sweep.state)) return "";
  const { setback_mm, saddle_height_mm, bar_x_mm } = sweep.set;
  const known = (/** @type {number|null} */ mm, /** @type {string} */ words) => (typeof mm === "number" ? [`${words} ${number(mm)}`] : []);
  return [`${number(setback_mm)} mm back`, ...known(saddle_height_mm, "height"), ...known(bar_x_mm, "bar")].join(" · ");
}

/** Changes with the state only, so that a screen reader does not speak every second. */
function announcement(/** @type {State} */ state, /** @type {{lead: string}} */ said) {
  const target = state.sweep?.state === "moving" && state.sweep.asked_setback_mm !== null ? ` ${number(state.sweep.asked_setback_mm)} mm` : "";
  return `${progress(state)}. ${said.lead}${target}`;
}

function drawBar(/** @type {HTMLElement} */ bar, /** @type {State["sweep"]} */ sweep) {
  const shown = sweep?.state === "averaging" && sweep.dwell_left_s !== null && sweep.dwell_s > 0;
  setAttribute(bar, "data-on", shown || undefined);
  const done = shown && sweep ? 1 - (sweep.dwell_left_s ?? 0) / sweep.dwell_s : 0;
  setProperty(bar, "--done", Math.min(1, Math.max(0, done)).toFixed(3));
}
