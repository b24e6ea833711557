/**
 * Where the weight rests: saddle, feet, hands, in the order they stand on the bicycle, front on the right,
 * and one bar as wide as the weight.
 */
import { el, setAttribute, setProperty, setText } from "../../dom.js";
import { newtons, percent, uncertainty } from "../../format.js";
import { loadsFreshness, strokeFreshness } from "../../fresh.js";
import { footDoubt } from "../../words.js";

/** @typedef {import("../../state.js").State} State @typedef {import("../../store.js").Store} Store */

const SUPPORTS = /** @type {const} */ ([
  ["saddle", "Saddle", ""],
  ["feet", "Feet", "remainder, not measured"],
  ["hands", "Hands", ""],
]);
/** Off the pedals hands and saddle are means over the last second of the trace. */
const STANDING_SPAN_S = 1;

/** @param {Store} store */
export function loadsPanel(store) {
  const cells = SUPPORTS.map(([key, name, note]) => supportCell(key, name, note));
  const segments = SUPPORTS.map(([key]) => el("div", { class: `segment ${key}` }));
  const bar = el("div", { class: "weight-bar", "aria-hidden": "true" }, ...segments);
  const basis = el("p", { class: "basis" });
  const doubt = el("p", { class: "doubt", role: "status" });
  const node = el(
    "section",
    { class: "loads", "aria-labelledby": "loads-title" },
    el("header", {}, el("h2", { id: "loads-title" }, "Where the weight rests"), basis),
    el("div", { class: "supports" }, ...cells.map((cell) => cell.node)),
    bar,
    doubt,
  );

  /** @param {State} state @param {number} now_ms */
  function draw(state, now_ms) {
    const stroke = strokeFreshness(state, now_ms);
    const standing = !stroke.live && loadsFreshness(state, now_ms).live;
    const shown = standing ? standingLoads(store, state.expanded_n) : state.stroke;
    const mean = state.stroke?.expanded_n?.hands
      ? "mean of the last stroke, ± uncertainty of the calibration, 95 %"
      : "mean of the last stroke, its uncertainty not known";
    setText(basis, standing ? `${stroke.words}: means of the last second${state.expanded_n?.hands ? ", ± uncertainty, 95 %" : ""}` : stroke.words || mean);
    setAttribute(node, "data-stale", !stroke.live && !standing);
    for (const [i, [key]] of SUPPORTS.entries()) {
      cells[i].draw(shown, key);
      setProperty(segments[i], "--share", String(Math.max(0, shown?.shares?.[key] ?? 0)));
    }
    setAttribute(bar, "data-on", shown?.shares ? true : undefined);
    const doubts = [...state.doubts.map((each) => each.sentence), stroke.live ? footDoubt(state.stroke?.shares?.feet) : ""];
    setText(doubt, doubts.filter(Boolean).join(". "));
    for (const [i, [key]] of SUPPORTS.entries()) cells[i].doubt(state.doubts.some((each) => key === "feet" || each.on === key));
  }
  return { node, draw };
}

function standingLoads(/** @type {Store} */ { trace }, /** @type {State["expanded_n"]} */ expanded_n) {
  return {
    hands_n: trace.mean(0, STANDING_SPAN_S),
    saddle_n: trace.mean(1, STANDING_SPAN_S),
    feet_n: null,
    shares: null,
    expanded_n,
  };
}

function supportCell(/** @type {string} */ key, /** @type {string} */ name, /** @type {string} */ note) {
  const load = el("span", { class: "load" });
  const plusMinus = el("span", { class: "plus-minus" });
  const share = el("span", { class: "share" });
  const node = el(
    "div",
    { class: `support ${key}` },
    el("h3", {}, el("span", { class: "mark", "aria-hidden": "true" }), name, note && el("small", {}, ` ${note}`)),
    el("p", {}, load, " ", plusMinus, " ", share),
  );

  /** @param {any} shown @param {string} which */
  function draw(shown, which) {
    setText(load, newtons(shown?.[`${which}_n`]));
    const expanded_n = shown?.expanded_n?.[which];
    setText(plusMinus, typeof expanded_n === "number" ? uncertainty(expanded_n) : "");
    setText(share, shown?.shares ? percent(shown.shares[which], 1) : "");
  }
  return { node, draw, doubt: (/** @type {boolean} */ on) => setAttribute(node, "data-doubt", on || undefined) };
}
