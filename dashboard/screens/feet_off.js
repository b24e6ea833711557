/** With the feet off the pedals, hands and saddle carry all of the weight: a few holds tell a faulty cell from a wrong mass. */
import { ask } from "../commands.js";
import { el, setAttribute, setText } from "../dom.js";
import { number } from "../format.js";

/** @typedef {import("../store.js").Store} Store @typedef {import("../state.js").State} State */

/** @param {Store} store @returns {{node: HTMLElement, draw: (state: State) => void}} */
export function feetOffPlate(store) {
  const said = el("p", { class: "here", role: "status" });
  const button = el("button", { type: "button", onclick: () => void hold() }, "Add up this hold");
  const node = el(
    "section",
    { class: "plate", "aria-label": "Sum of the loads" },
    el("h2", {}, "When the sum of the loads is in doubt"),
    el("p", { class: "note" }, "Jig level and held. Rider seated, hands on the bar, feet off the pedals, still. Three holds: upright, leaning forward, leaning to one side."),
    button,
    said,
  );

  async function hold() {
    setText(said, "");
    const found = await ask(store, "feet-off", "POST", "/api/v1/feet-off", {});
    if (found) setText(said, `Hold ${number(found.holds)}: ${found.text}`);
  }
  return { node, draw: ({ sending }) => setAttribute(button, "disabled", sending !== null) };
}
