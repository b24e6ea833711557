/** The band across the top of Run and of the rider's screen: the state in a word, a shape and a colour. */
import { el, setAttribute, setText, svg } from "../../dom.js";

/** @typedef {import("../../glance.js").Glance} Glance */

/**
 * One shape for each state, told apart without colour: arrow, ring, disc, bars, triangle, circle, tick.
 * @type {Record<import("../../glance.js").Kind, string>}
 */
const SHAPES = {
  ready: "M12 3a9 9 0 1 0 0 18a9 9 0 1 0 0-18Zm0 3a6 6 0 1 1 0 12a6 6 0 1 1 0-12Z",
  move: "M15 3 6 12l9 9 2.6-2.6L11.2 12l6.4-6.4Z",
  settle: "M12 2a10 10 0 1 1-10 10h3a7 7 0 1 0 7-7Z",
  record: "M12 3a9 9 0 1 0 0 18a9 9 0 1 0 0-18Z",
  waits: "M5 3h5v18H5ZM14 3h5v18h-5Z",
  fault: "M12 1 24 22H0ZM10.7 8v7h2.6V8Zm0 8.6v2.6h2.6v-2.6Z",
  rest: "M4 10h16v4H4Z",
  done: "M9.5 19.5 2 12l2.6-2.6 4.9 4.9L19.4 4.4 22 7Z",
};

export function band() {
  const shape = svg("path", { "fill-rule": "evenodd" });
  const word = el("strong", { class: "band-word" });
  const said = el("span", { class: "band-said" });
  const aside = el("span", { class: "band-aside" });
  const node = el("p", { class: "band" }, svg("svg", { viewBox: "0 0 24 24", "aria-hidden": "true" }, shape), word, said, aside);

  /** @param {Glance} now @param {string} beside */
  function draw(now, beside) {
    setAttribute(node, "data-kind", now.kind);
    setAttribute(shape, "d", SHAPES[now.kind]);
    setText(word, now.word);
    setText(said, now.said);
    setText(aside, beside);
  }
  return { node, draw };
}
