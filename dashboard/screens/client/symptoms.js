/** Where it hurts or goes numb: one row a place, a score for each side; empty is no complaint. */
import { el } from "../../dom.js";
import { numberIn, numberInput, writeNumber } from "../../number_field.js";
import { PLACES } from "./rows.js";

const SIDES = /** @type {const} */ (["left", "right"]);

export function symptomTable() {
  const inputs = PLACES.map((place) =>
    SIDES.map((side) =>
      numberInput({ words: `${place}, ${side}`, least: 0, most: 10, step: 1 }, { "aria-label": `${place}, ${side}` }),
    ),
  );
  const node = el(
    "table",
    { class: "symptoms" },
    el("caption", {}, "Pain or numbness, 0 none to 10"),
    el(
      "thead",
      {},
      el("tr", {}, el("th", { scope: "col" }, "Place"), ...SIDES.map((side) => el("th", { scope: "col" }, side))),
    ),
    el(
      "tbody",
      {},
      ...PLACES.map((place, i) =>
        el("tr", {}, el("th", { scope: "row" }, place), ...inputs[i].map((input) => el("td", {}, input))),
      ),
    ),
  );
  return {
    node,
    read: () =>
      PLACES.flatMap((place, i) =>
        SIDES.map((side, k) => ({ place, side, score: numberIn(inputs[i][k]) })).filter(
          ({ score }) => !Number.isNaN(score),
        ),
      ),
    /** @param {{place: string, side: string, score: number}[]} symptoms */
    write(symptoms) {
      for (const [i, place] of PLACES.entries())
        for (const [k, side] of SIDES.entries()) {
          const found = symptoms.find((each) => each.place === place && [side, "both"].includes(each.side));
          writeNumber(inputs[i][k], found ? found.score : null);
        }
    },
  };
}
