/** The stop: on every screen, the rider's too. One press, no question asked. */
import { sendEvent } from "../../commands.js";
import { el, setAttribute } from "../../dom.js";
import { CAUTION } from "../../words.js";

/** @param {import("../../store.js").Store} store */
export function stopButton(store) {
  const node = el(
    "button",
    { type: "button", class: "stop", onclick: () => sendEvent(store, "stop") },
    el("span", { class: "stop-words" }, "Stop"),
    el("small", {}, CAUTION),
    el("kbd", {}, "Esc"),
  );
  return {
    node,
    /** @param {import("../../state.js").State} state */
    draw: (state) => setAttribute(node, "disabled", !state.sweep?.accepts.includes("stop")),
  };
}
