/** Saddle and hand load over the last seconds. */
import { el, setAttribute, setText } from "../../dom.js";
import { loadsFreshness } from "../../fresh.js";
import { createStrip, SPAN_S } from "../../strip.js";

/** @typedef {import("../../state.js").State} State @typedef {import("../../store.js").Store} Store */

const CALM_MS = 250;

/** @param {Store} store */
export function stripsPanel(store) {
  const calm = matchMedia("(prefers-reduced-motion: reduce)");
  const hosts = ["hands", "saddle"].map((name) => el("div", { class: `strip ${name}` }));
  const stale = el("p", { class: "strip-stale" });
  const node = el(
    "section",
    { class: "strips", "aria-label": "Hand and saddle load, last 20 seconds; the numbers are above" },
    el(
      "div",
      { class: "strip-row" },
      el("h3", {}, el("span", { class: "mark hands", "aria-hidden": "true" }), "Hands, N"),
      hosts[0],
    ),
    el(
      "div",
      { class: "strip-row" },
      el("h3", {}, el("span", { class: "mark saddle", "aria-hidden": "true" }), "Saddle, N"),
      hosts[1],
    ),
    el("p", { class: "strip-ends", "aria-hidden": "true" }, el("span", {}, `${SPAN_S} s ago`), el("span", {}, "now")),
    stale,
  );
  /** @type {ReturnType<typeof createStrip>[]|undefined} */
  let strips;
  let drawn_ms = 0;
  let ink_ms = 0;

  /** @param {State} state @param {number} now_ms */
  function draw(state, now_ms) {
    strips ??= [createStrip(hosts[0], 0), createStrip(hosts[1], 1)];
    const fresh = loadsFreshness(state, now_ms);
    setText(stale, fresh.words);
    setAttribute(node, "data-stale", !fresh.live);
    const to_s = store.trace.now_s(now_ms);
    if (Number.isNaN(to_s) || (calm.matches && now_ms - drawn_ms < CALM_MS)) return;
    if (now_ms - ink_ms > 1000) {
      strips.forEach((strip) => strip.readInk());
      ink_ms = now_ms;
    }
    drawn_ms = now_ms;
    strips.forEach((strip) => strip.draw(store.trace, to_s));
  }
  return { node, draw, close: () => strips?.forEach((strip) => strip.destroy()) };
}
