/** With the feet off the pedals, hands and saddle carry all of the weight: a few holds tell a faulty cell from a wrong mass. */
import { barred, jigTaken, noLoads } from "../barred.js";
import { ask } from "../commands.js";
import { el, setText } from "../dom.js";
import { number } from "../format.js";

/** @typedef {import("../store.js").Store} Store @typedef {import("../state.js").State} State */

/** @param {Store} store @returns {{node: HTMLElement, draw: (state: State) => void}} */
export function feetOffPlate(store) {
  const said = el("p", { class: "here", role: "status" });
  const button = el("button", { type: "button", onclick: () => void hold() }, "Add up this hold");
  const bar = barred(button);
  const node = el(
    "details",
    {},
    el("summary", {}, "When the sum of the loads is in doubt"),
    el("p", { class: "note" }, "Jig level and held. Rider seated, hands on the bar, feet off the pedals, still. Three holds: upright, leaning forward, leaning to one side."),
    button,
    bar.node,
    said,
  );

  async function hold() {
    setText(said, "");
    const found = await ask(store, "feet-off", "POST", "/api/v1/feet-off", {});
    if (found) setText(said, `Hold ${number(found.holds)}: ${found.text}`);
  }
  return { node, draw: (/** @type {State} */ state) => bar.draw(holdBarred(state), state.sending !== null) };
}

/** @param {State} state */
function holdBarred(state) {
  const unknown = state.rider?.mass_kg ? null : { text: "The rider’s mass is not known: fill in the intake first.", see: "client" };
  return jigTaken(state, ["sweep"]) || unknown || noLoads(state);
}
