/** The zeros: of the empty jig's cells, and of a power sensor that can find its own. */
import { barred, jigTaken, noLoads } from "../barred.js";
import { ask } from "../commands.js";
import { el, setAttribute, setText } from "../dom.js";
import { number } from "../format.js";
import { spoken } from "../trade_words.js";

/** @typedef {import("../store.js").Store} Store @typedef {import("../state.js").State} State */

/** The control point's own time-out is 30 s; daq/sources/ble.py. */
const SENSOR_PATIENCE_MS = 35_000;

/** @param {Store} store @returns {{node: HTMLElement, draw: (state: State) => void}} */
export function zeroPlate(store) {
  const said = el("p", { class: "here", role: "status" });
  const cells = el("button", { type: "button", onclick: () => void takeZero() }, "Take the zero: jig empty");
  const power = el(
    "button",
    { type: "button", onclick: () => void askSensor() },
    "Zero of the power sensor: crank still, nothing on it",
  );
  const [cellsBar, powerBar] = [barred(cells), barred(power)];
  const node = el("section", { class: "plate", "aria-label": "Zero" }, el("h2", {}, "Zero"), cells, cellsBar.node, power, powerBar.node, said);

  async function takeZero() {
    setText(said, "");
    const taken = await ask(store, "zero", "POST", "/api/v1/zero", {});
    if (taken) setText(said, `Zero taken. Away from the calibration's: ${moved(taken.moved_n)}`);
  }
  async function askSensor() {
    setText(said, "Asking the sensor; it may take half a minute. Leave the crank alone.");
    const answer = await ask(store, "power-zero", "POST", "/api/v1/power-zero", {}, SENSOR_PATIENCE_MS);
    setText(said, answer ? `Power sensor: ${answer.said}` : "");
  }
  return {
    node,
    draw(state) {
      const { sending, rig } = state;
      cellsBar.draw(zeroBarred(state), sending !== null);
      powerBar.draw(rig?.power_zero ? jigTaken(state, ["sweep"]) : null, sending !== null);
      setAttribute(power, "hidden", !rig?.power_zero);
    },
  };
}

/** Why no zero can be taken. @param {State} state */
export const zeroBarred = (state) => jigTaken(state, ["sweep", "proof"]) || noLoads(state);

/** "hands +0.2 N, saddle −1.0 N" @param {Record<string, number>} moved_n */
function moved(moved_n) {
  return Object.entries(moved_n)
    .map(([cell, n]) => `${spoken(cell)} ${n > 0 ? "+" : ""}${number(n, 1)}\u00a0N`)
    .join(", ");
}
