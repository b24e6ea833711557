/** The body to tap: front, back, and the palms as the rider sees them. For pointers; the list beside it works for everybody. */
import { el, svg } from "../../dom.js";
import { BACK, FRONT, HALF, PALM, PALMS } from "./body_shapes.js";

/** @typedef {import("./body_shapes.js").Patch} Patch @typedef {{place: string, side: string, score: number}} Symptom */

const SIDES = /** @type {const} */ (["left", "right"]);
const FIGURES = [
  { words: "front", patches: FRONT, width: 220, height: 478, spread: 0, first: "right", outline: halfOutline },
  { words: "back", patches: BACK, width: 220, height: 478, spread: 0, first: "left", outline: halfOutline },
  { words: "palms, as the rider sees them", patches: PALMS, width: 264, height: 150, spread: 64, first: "left", outline: palmOutline },
];
let figures = 0;

/**
 * @param {(place: string, side: string) => void} tapped
 * @returns {{node: HTMLElement, draw: (symptoms: Symptom[], chosen: {place: string, side: string}|null) => void}}
 */
export function bodyMap(tapped) {
  /** @type {{patch: Patch, side: string, shape: SVGElement, score: SVGElement}[]} */
  const places = [];
  const node = el("div", { class: "body-map", "aria-hidden": "true" }, ...FIGURES.map((figure) => drawn(figure)));

  function drawn(/** @type {typeof FIGURES[number]} */ { words, patches, width, height, spread, first, outline }) {
    const id = `outline-${++figures}`;
    // Which side is at the left of the picture: the right hand of a figure seen from the front, the left of one seen from the back.
    const order = first === "left" ? SIDES : [...SIDES].reverse();
    const halves = order.map((side, k) => {
      const flip = k === 0 ? -1 : 1;
      const middle = width / 2 + flip * spread;
      const shapes = patches.map((patch) => {
        const shape = svg("path", { class: "patch", d: patch.d, onclick: () => tapped(patch.place, patch.middle ? "both" : side) });
        const score = svg("text", { class: "patch-score", x: middle + flip * patch.at[0], y: patch.at[1] + 5, "text-anchor": "middle" });
        places.push({ patch, side, shape, score });
        return { shape, score };
      });
      return [
        svg("g", { transform: `translate(${middle},0) scale(${flip},1)` }, ...outline(), svg("g", { "clip-path": `url(#${id})` }, ...shapes.map((each) => each.shape))),
        ...shapes.map((each) => each.score),
      ];
    });
    const drawing = svg(
      "svg",
      { viewBox: `0 0 ${width} ${height}`, class: "figure-of-body" },
      svg("clipPath", { id }, ...outline()),
      ...halves.flat(),
      ...order.map((side, k) => svg("text", { class: "figure-side", x: k === 0 ? 8 : width - 8, y: 16, "text-anchor": k === 0 ? "start" : "end" }, side === "left" ? "L" : "R")),
    );
    return el("figure", {}, /** @type {any} */ (drawing), el("figcaption", {}, words));
  }
  return {
    node,
    draw(symptoms, chosen) {
      for (const { patch, side, shape, score } of places) {
        const found = symptoms.find((each) => each.place === patch.place && (patch.middle || each.side === "both" || each.side === side));
        const isChosen = chosen?.place === patch.place && (patch.middle || chosen.side === "both" || chosen.side === side);
        shape.setAttribute("class", `patch${found ? ` score-${found.score}` : ""}${isChosen ? " chosen" : ""}`);
        score.textContent = found && !(patch.middle && side === "left") ? String(found.score) : "";
      }
    },
  };
}

/** Filled up to the middle line; the edge is drawn without that line. */
function halfOutline() {
  return [svg("path", { class: "flesh", d: HALF }), svg("path", { class: "edge", d: HALF.replace("Z", "") })];
}

/** Edges first, fills over them, so that the parts join without a seam. */
function palmOutline() {
  return ["edge", "flesh"].flatMap((name) => PALM.map((part) => svg("rect", { class: name, ...part })));
}
