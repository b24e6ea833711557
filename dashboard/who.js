/** Whose visit it is, for the fitter's head line: the name is fetched here and travels in no stream. */
import { look } from "./commands.js";
import { changes, el, setText } from "./dom.js";

/** @typedef {import("./state.js").State} State */

/** @returns {{node: HTMLElement, draw: (state: State) => void}} */
export function whoIsHere() {
  const node = el("span", { class: "who-name" });
  const met = changes();
  let name = "";
  let asked = 0;

  async function find(/** @type {string} */ pseudonym) {
    const mine = ++asked;
    const known = await look("/api/v1/clients");
    if (mine !== asked) return;
    const found = Array.isArray(known) ? known.find((each) => each.pseudonym === pseudonym) : null;
    name = found?.name ?? "";
  }
  return {
    node,
    draw({ visit, rider, link }) {
      if (met(visit?.pseudonym, link.state)) {
        name = "";
        asked += 1;
        if (visit) void find(visit.pseudonym);
      }
      const nth = visit?.nth ? `visit ${visit.nth}` : "";
      setText(node, visit ? [name || visit.pseudonym, nth].filter(Boolean).join(" · ") : rider ? "Trial" : "");
    },
  };
}
