/** The one action that closes a check, beside the check: a press, a number to confirm, or a link to where it is done. */
import { barred } from "../../barred.js";
import { ask } from "../../commands.js";
import { changes, el, setAttribute } from "../../dom.js";
import { field, read, write } from "../../form.js";
import { HANDS } from "../client/rows.js";
import { zeroBarred } from "../zero.js";
import { knownWeight } from "./known_weight.js";

/** @typedef {import("../../store.js").Store} Store @typedef {import("../../state.js").State} State */
/** @typedef {{node: HTMLElement, draw: (state: State) => void}} Act */

/** @param {Store} store @param {string} key of the check @returns {Act} */
export function actOf(store, key) {
  const made = ACTS[key]?.(store);
  return made ?? { node: el("span", {}), draw: () => {} };
}

/** Measured together with the height. @type {import("../../form.js").Row} */
const KNEE = { path: "knee_deg", words: "Knee flexion at the bottom", kind: "number", unit: "°", least: 0, most: 90 };

/** @type {Record<string, (store: Store) => Act>} */
const ACTS = {
  zero: (store) => press(store, "Take the zero: jig empty", () => store.inTurn(() => void ask(store, "zero", "POST", "/api/v1/zero", {})), zeroBarred),
  cleats: (store) => press(store, "Cleats are set and tight", () => measured(store, { cleats_set: true })),
  height: (store) =>
    number(store, { path: "height_mm", words: "Saddle height, BB to top", kind: "number", unit: "mm", least: 400, most: 1000 }, "Height is as written", (intake) => intake?.saddle.height_mm, KNEE),
  tilt: (store) =>
    number(store, { path: "saddle_tilt_deg", words: "Saddle tilt, nose up +", kind: "number", unit: "°", least: -20, most: 20 }, "Tilt is as written", (intake) => intake?.saddle.tilt_deg),
  hands: (store) => hands(store),
  calibration,
  effort: () => way("#plan", "To the plan"),
};

/** Saves one measure; those saved before stay. */
function measured(/** @type {Store} */ store, /** @type {object} */ change) {
  store.inTurn(() => void ask(store, "measured", "PATCH", "/api/v1/visit/measured", change));
}

function press(/** @type {Store} */ _, /** @type {string} */ words, /** @type {() => void} */ act, /** @type {(state: State) => import("../../barred.js").Reason|null} */ why = () => null) {
  const button = el("button", { type: "button", class: "act", onclick: act }, words);
  const bar = barred(button);
  return { node: el("span", { class: "barred-act" }, button, bar.node), button, draw: (/** @type {State} */ state) => bar.draw(why(state)) };
}

/** A number from the intake, or as measured now; confirmed by a press. */
function number(/** @type {Store} */ store, /** @type {import("../../form.js").Row} */ row, /** @type {string} */ words, /** @type {(intake: any) => number|null|undefined} */ came, /** @type {import("../../form.js").Row|null} */ also = null) {
  const made = field(row, "check");
  const beside = also && field(also, "check");
  const button = press(store, words, () => {});
  setAttribute(button.button, "type", "submit");
  const node = el(
    "form",
    {
      onsubmit: (/** @type {Event} */ event) => {
        event.preventDefault();
        if (read(made) === null) made.input.focus();
        else measured(store, { [row.path]: read(made), ...(beside && { [beside.row.path]: read(beside) }) });
      },
    },
    made.node,
    beside?.node,
    button.node,
  );
  const met = changes();
  return {
    node,
    draw(/** @type {State} */ state) {
      button.draw(state);
      const { visit } = state;
      if (visit && met(visit.id, came(visit.intake))) write(made, visit.measured[row.path] ?? came(visit.intake) ?? null);
    },
  };
}

function hands(/** @type {Store} */ store) {
  const made = field({ path: "hands", words: "Hands on the", kind: "choice", options: HANDS }, "check");
  const button = press(store, "Their place is marked", () => measured(store, { hands: read(made), hands_marked: true }));
  const met = changes();
  return {
    node: el("div", {}, made.node, button.node),
    draw(/** @type {State} */ state) {
      button.draw(state);
      if (state.visit && met(state.visit.id, state.visit.intake?.hands)) write(made, state.visit.measured.hands ?? state.visit.intake?.hands ?? null);
    },
  };
}

/** Cells go to the bench; a scale that a person reads is checked here. @param {Store} store @returns {Act} */
function calibration(store) {
  const [bench, weight] = [way("#bench", "To the bench"), knownWeight(store)];
  return {
    node: el("div", {}, bench.node, weight.node),
    draw(state) {
      setAttribute(bench.node, "hidden", Boolean(state.rig?.typed));
      setAttribute(weight.node, "hidden", !state.rig?.typed);
      weight.draw(state);
    },
  };
}

/** @returns {Act} */
function way(/** @type {string} */ to, /** @type {string} */ words) {
  return { node: el("a", { href: to }, words), draw: () => {} };
}
