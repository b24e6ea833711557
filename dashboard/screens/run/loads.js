/**
 * Where the weight rests, as rows: the name, the trace of the last seconds, and at its end the number in its colour.
 * The feet carry what is left: no trace, a bar of shares as wide as the weight.
 */
import { changes, el, setAttribute, setProperty, setText } from "../../dom.js";
import { newtons, percent, uncertainty } from "../../format.js";
import { loadsFreshness, strokeFreshness } from "../../fresh.js";
import { createStrip, SPAN_S } from "../../strip.js";
import { inTradeWords } from "../../trade_words.js";
import { footDoubt } from "../../words.js";

/** @typedef {import("../../state.js").State} State @typedef {import("../../store.js").Store} Store */

/** Name, words, column of the trace; none of what is not measured. */
const SUPPORTS = /** @type {const} */ ([
  ["hands", "Hands", 0],
  ["saddle", "Saddle", 1],
  ["feet", "Feet", null],
]);
/** Off the pedals hands and saddle are means over the last second of the trace. */
const STANDING_SPAN_S = 1;
const CALM_MS = 250;
const INK_MS = 1000;
const DARK = matchMedia("(prefers-color-scheme: dark)");

/** @param {Store} store */
export function loadsPanel(store) {
  const segments = SUPPORTS.map(([key]) => el("div", { class: `segment ${key}` }));
  const bar = el("div", { class: "weight-bar", "aria-hidden": "true" }, ...segments);
  const rows = SUPPORTS.map(([key, name, column]) => row(key, name, column === null ? bar : el("div", { class: `strip ${key}` })));
  const demand = rows.map(({ ask }) => ask);
  let wanted = false;
  const uncertain = () => {
    wanted = !wanted;
    setAttribute(node, "data-uncertain", wanted);
    for (const each of demand) setAttribute(each, "aria-pressed", String(wanted));
  };
  for (const each of demand) each.addEventListener("click", uncertain);
  const basis = el("p", { class: "basis" });
  const stale = el("p", { class: "strip-stale" });
  const doubt = el("p", { class: "doubt", role: "status" });
  const node = el(
    "section",
    { class: "loads", "aria-labelledby": "loads-title" },
    el("h2", { class: "unseen", id: "loads-title" }, "Where the weight rests"),
    ...rows.map((each) => each.node),
    el("p", { class: "row-ends", "aria-hidden": "true" }, el("span", {}, `${SPAN_S} s ago`), el("span", {}, "now")),
    basis,
    stale,
    doubt,
  );
  const strips = traces(store, rows);

  /** @param {State} state @param {number} now_ms */
  function draw(state, now_ms) {
    const [stroke, fresh] = [strokeFreshness(state, now_ms), loadsFreshness(state, now_ms)];
    const standing = !stroke.live && fresh.live;
    const shown = standing ? standingLoads(store, state.expanded_n) : state.stroke;
    setText(basis, basisWords(state, stroke, standing));
    // Said once: where the traces are old, their own line says it.
    setAttribute(basis, "data-quiet", Boolean(fresh.words) || (stroke.live && Boolean(state.stroke?.expanded_n?.hands)));
    setText(stale, fresh.words);
    setAttribute(node, "data-stale", !stroke.live && !standing);
    for (const [i, [key]] of SUPPORTS.entries()) {
      rows[i].missing(state.rig?.not_measured.includes(key) ?? false);
      rows[i].draw(shown, key);
      rows[i].doubt(state.doubts.some((each) => key === "feet" || each.on === key));
      setProperty(segments[i], "--share", String(Math.max(0, shown?.shares?.[key] ?? 0)));
    }
    setAttribute(bar, "data-on", shown?.shares ? true : undefined);
    const doubts = [...state.doubts.map((each) => inTradeWords(each.sentence)), stroke.live ? footDoubt(state.stroke?.shares?.feet) : ""];
    setText(doubt, doubts.filter(Boolean).join(" "));
    strips.draw(now_ms);
  }
  return { node, draw, close: strips.close };
}

/** What the numbers are; their uncertainty is said where it is not known, and shown on demand. */
function basisWords(/** @type {State} */ state, /** @type {import("../../fresh.js").Freshness} */ stroke, /** @type {boolean} */ standing) {
  if (standing) return `${stroke.words}: means of the last second${state.expanded_n?.hands ? ", ± uncertainty, 95 %" : ""}`;
  if (stroke.words) return stroke.words;
  return state.stroke?.expanded_n?.hands ? "means of the last stroke, ± uncertainty of the calibration, 95 %" : "means of the last stroke, their uncertainty not known";
}

/** The traces, drawn at the frame's pace, or four times a second where motion is not wanted. */
function traces(/** @type {Store} */ store, /** @type {ReturnType<typeof row>[]} */ rows) {
  const calm = matchMedia("(prefers-reduced-motion: reduce)");
  /** @type {ReturnType<typeof createStrip>[]|undefined} */
  let strips;
  let [drawn_ms, ink_ms] = [0, 0];
  const scheme = changes();

  function draw(/** @type {number} */ now_ms) {
    strips ??= SUPPORTS.flatMap(([, , column], i) => (column === null ? [] : [createStrip(rows[i].host, column)]));
    const to_s = store.trace.now_s(now_ms);
    const repainted = scheme(DARK.matches, document.documentElement.dataset.theme);
    if (Number.isNaN(to_s) || (calm.matches && !repainted && now_ms - drawn_ms < CALM_MS)) return;
    if (repainted || now_ms - ink_ms > INK_MS) {
      strips.forEach((strip) => strip.readInk());
      ink_ms = now_ms;
    }
    drawn_ms = now_ms;
    strips.forEach((strip) => strip.draw(store.trace, to_s));
  }
  return { draw, close: () => strips?.forEach((strip) => strip.destroy()) };
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

function row(/** @type {string} */ key, /** @type {string} */ name, /** @type {HTMLElement} */ host) {
  const load = el("span", { class: "load" });
  const plusMinus = el("span", { class: "plus-minus" });
  // One stands for all three: the keyboard needs to reach one.
  const ask = el("button", { type: "button", class: "ask-uncertainty", "aria-pressed": "false", title: "Uncertainty, 95 %", "aria-label": `Uncertainty, at ${name.toLowerCase()}`, tabindex: key === "hands" ? null : -1 });
  const share = el("span", { class: "share" });
  const words = el("small", {});
  const node = el(
    "div",
    { class: `support ${key}` },
    el("h3", {}, el("span", { class: "mark", "aria-hidden": "true" }), name, words),
    host,
    el("div", { class: "row-value" }, share, load, plusMinus, ask),
  );

  /** @param {any} shown @param {string} which */
  function draw(shown, which) {
    setText(load, newtons(shown?.[`${which}_n`]));
    const expanded_n = shown?.expanded_n?.[which];
    setText(plusMinus, typeof expanded_n === "number" ? uncertainty(expanded_n) : "");
    setText(share, shown?.shares ? percent(shown.shares[which], 1) : "");
  }
  /** A rig without this sensor shows no trace and no number. */
  function missing(/** @type {boolean} */ is) {
    setText(words, is ? "not measured" : key === "feet" ? "the rest, not measured" : "");
    setAttribute(node, "data-missing", is || undefined);
  }
  return { node, host, ask, draw, missing, doubt: (/** @type {boolean} */ on) => setAttribute(node, "data-doubt", on || undefined) };
}
