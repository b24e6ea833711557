/** The parts of a proof in order, with how much of each is done. */
import { el, setAttribute } from "../../dom.js";
import { capital } from "../../trade_words.js";

/** @typedef {{name: string, done: number, of: number}} Stage */

export function stageList() {
  const list = el("ol", { class: "proof-parts" });
  const node = el("section", { class: "plate", "aria-label": "Parts of the proof" }, el("h2", {}, "Parts of the proof"), list);

  /** @param {Stage[]} stages @param {string|undefined} now name of the one under way */
  function show(stages, now) {
    list.replaceChildren(...stages.map((stage) => one(stage, stage.name === now)));
  }
  function one(/** @type {Stage} */ { name, done, of }, /** @type {boolean} */ now) {
    const item = el("li", {}, el("span", {}, capital(name)), el("span", {}, done === of ? "done" : done ? `${done} of ${of}` : `${of} to do`));
    setAttribute(item, "aria-current", now ? "step" : null);
    return item;
  }
  return { node, show };
}
