/** Where it hurts or goes numb: tapped on the body or chosen from the list, left, right or both, 0 to 10. */
import { chips, scoreChips } from "../../chips.js";
import { el, setAttribute, setText } from "../../dom.js";
import { bodyMap } from "./body.js";
import { PLACES } from "./rows.js";

/** @typedef {import("./body.js").Symptom} Symptom */

const SIDES = /** @type {const} */ ([["left", "left"], ["right", "right"], ["both", "both"]]);
let lists = 0;

/** @param {() => void} changed called after every change by a person */
export function complaints(changed) {
  /** @type {Symptom[]} */
  let symptoms = [];
  /** @type {{place: string, side: string}|null} */
  let chosen = null;
  const id = `place-${++lists}`;
  const place = el("select", { id, onchange: () => choose(place.value, "both") }, el("option", { value: "" }, "choose a place"), ...PLACES.map((each) => el("option", { value: each }, each)));
  const side = chips("Side", SIDES, (value) => chosen && move(value), { quiet: true });
  const score = scoreChips("How much, 0 none to 10", (value) => chosen && put({ ...chosen, score: value }), { quiet: true });
  const body = bodyMap(choose);
  const list = el("ul", { class: "complaints" });
  const none = el("p", { class: "note" }, "Tap where it hurts or goes numb, then how much. Nothing tapped: no complaint.");
  const node = el(
    "div",
    { class: "where" },
    body.node,
    el("div", { class: "where-asked" }, el("label", { for: id }, "Place"), place, side.node, score.node),
    none,
    list,
  );

  function choose(/** @type {string} */ name, /** @type {string} */ which) {
    chosen = name ? { place: name, side: symptoms.find((each) => each.place === name && [which, "both"].includes(each.side))?.side ?? which } : null;
    draw();
  }
  function put(/** @type {Symptom} */ symptom) {
    const rest = symptoms.filter((each) => each.place !== symptom.place || (symptom.side !== "both" && each.side !== "both" && each.side !== symptom.side));
    symptoms = [...rest, symptom];
    draw();
    changed();
  }
  function move(/** @type {string} */ to) {
    if (!chosen) return;
    const before = symptoms.find((each) => each.place === chosen?.place && each.side === chosen?.side);
    chosen = { ...chosen, side: to };
    if (!before) return draw();
    symptoms = symptoms.filter((each) => each !== before);
    put({ ...chosen, score: before.score });
  }
  function remove(/** @type {Symptom} */ symptom) {
    symptoms = symptoms.filter((each) => each !== symptom);
    draw();
    changed();
    place.focus();
  }
  function draw() {
    const found = symptoms.find((each) => each.place === chosen?.place && each.side === chosen?.side);
    place.value = chosen?.place ?? "";
    side.set(chosen?.side ?? null);
    score.set(found ? String(found.score) : null);
    side.disable(!chosen);
    score.disable(!chosen);
    body.draw(symptoms, chosen);
    list.replaceChildren(...symptoms.map((each) => el("li", {}, el("span", {}, `${each.place}, ${each.side}`), el("strong", {}, String(each.score)), el("button", { type: "button", class: "small", "aria-label": `Remove ${each.place}, ${each.side}`, onclick: () => remove(each) }, "×"))));
    setAttribute(list, "hidden", !symptoms.length);
    setText(none, symptoms.length ? "" : "Tap where it hurts or goes numb, then how much. Nothing tapped: no complaint.");
  }
  draw();
  return {
    node,
    read: () => symptoms,
    /** @param {Symptom[]} given */
    write(given) {
      symptoms = [...given];
      chosen = null;
      draw();
    },
  };
}
