/** The calibrations kept, newest first: the status of each, its certificate, and a button to use another one. */
import { jigTaken } from "../../barred.js";
import { ask, look } from "../../commands.js";
import { changes, el, setAttribute, setText } from "../../dom.js";

/** @typedef {import("../../store.js").Store} Store @typedef {import("../../state.js").State} State */

/** @param {Store} store @returns {{node: HTMLElement, draw: (state: State) => void}} */
export function keptCalibrations(store) {
  const list = el("ul", { class: "calibrations" });
  const problem = el("p", { class: "here" });
  const why = el("p", { class: "barred" });
  const moved = changes();

  async function read() {
    const found = await look("/api/v1/calibrations");
    const real = Array.isArray(found) ? found.filter((each) => each.cells.length > 0) : [];
    setText(problem, found.problem ?? (real.length ? "" : "None yet."));
    list.replaceChildren(...real.map(one));
  }
  function one(/** @type {any} */ kept) {
    const path = `/api/v1/calibrations/${encodeURIComponent(kept.id)}`;
    const isUsed = kept.id === store.state.calibration?.id;
    const use = () => ask(store, "use", "POST", "/api/v1/calibrations/use", { name: kept.id });
    return el(
      "li",
      {},
      el("strong", {}, kept.id, kept.simulated ? " (simulated)" : ""),
      el("span", {}, kept.sentence),
      kept.certificate ? el("a", { href: `${path}/certificate`, target: "_blank", rel: "noopener" }, "Certificate") : null,
      isUsed
        ? el("span", { class: "here" }, "in use")
        : el("button", { type: "button", class: "small", onclick: () => void use() }, `Use ${kept.id}`),
    );
  }
  return {
    node: el("section", { class: "plate", "aria-label": "Calibrations kept" }, el("h2", {}, "Calibrations kept"), problem, why, list),
    draw(state) {
      const { calibration, bench } = state;
      setText(why, jigTaken(state)?.text ?? "");
      for (const button of list.querySelectorAll("button")) setAttribute(button, "disabled", why.textContent !== "" || state.sending !== null);
      if (moved(`${calibration?.id} ${calibration?.sentence} ${bench?.calibration}`)) void read();
    },
  };
}
