/** The black button at the end of a screen of the visit: the next thing to do, or nothing while that is on this screen. */
import { el, setAttribute, setText } from "./dom.js";
import { nextAct } from "./visit_line.js";

/** @typedef {import("./state.js").State} State */

/** @param {string} here the address of the screen it stands on @returns {{node: HTMLAnchorElement, draw: (state: State) => void}} */
export function nextButton(here) {
  const node = el("a", { class: "button main" });
  return {
    node,
    draw(state) {
      const { to, words } = nextAct(state);
      setAttribute(node, "hidden", to === here);
      setAttribute(node, "href", to);
      setAttribute(node, "target", to.startsWith("/") ? "_blank" : null);
      setText(node, words);
    },
  };
}
