/** The zeros: of the empty jig's cells, and of a power sensor that can find its own. */
import { ask } from "../commands.js";
import { el, setAttribute, setText } from "../dom.js";
import { number } from "../format.js";

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
  const node = el("section", { class: "plate", "aria-label": "Zero" }, el("h2", {}, "Zero"), cells, power, said);

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
    draw({ sending, rig }) {
      for (const button of [cells, power]) setAttribute(button, "disabled", sending !== null);
      setAttribute(power, "hidden", !rig?.power_zero);
    },
  };
}

/** "hands +0.2 N, saddle −1.0 N" @param {Record<string, number>} moved_n */
function moved(moved_n) {
  return Object.entries(moved_n)
    .map(([cell, n]) => `${cell} ${n > 0 ? "+" : ""}${number(n, 1)}\u00a0N`)
    .join(", ");
}
