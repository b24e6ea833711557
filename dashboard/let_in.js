/** The screens that were let in over the network, and the end of one of them or of all others. */
import { ask, look } from "./commands.js";
import { el } from "./dom.js";

/** @typedef {import("./store.js").Store} Store */
/** @typedef {{number: string, role: string, since_utc: string, address: string, this: boolean}} Screen */

const SCREENS = "/api/v1/access/screens";

/** @param {Store} store @returns {{node: HTMLElement, refresh: () => Promise<void>}} */
export function letIn(store) {
  const list = el("ul", { class: "let-in" });
  const others = el("button", { type: "button", class: "small", hidden: true, onclick: () => end("") }, "End all others");

  async function end(/** @type {string} */ number) {
    await ask(store, "access", "DELETE", number ? `${SCREENS}/${encodeURIComponent(number)}` : SCREENS, {});
    await refresh();
  }
  async function refresh() {
    const said = await look(SCREENS);
    /** @type {Screen[]} */
    const screens = Array.isArray(said) ? said : [];
    others.hidden = !screens.some((each) => !each.this);
    list.replaceChildren(
      ...(screens.length ? screens.map((each) => line(each, end)) : [el("li", {}, "None over a network")]),
    );
  }
  return { node: el("div", {}, list, others), refresh };
}

function line(/** @type {Screen} */ { number, role, since_utc, address, this: own }, /** @type {(n: string) => void} */ end) {
  const since = new Date(since_utc).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
  const words = `${role === "run" ? "Fitter’s" : "Rider’s"} screen, ${address}, since ${since}`;
  if (own) return el("li", {}, `${words}: this one`);
  const name = `End: ${words}`;
  return el("li", {}, words, el("button", { type: "button", class: "small", "aria-label": name, onclick: () => end(number) }, "End"));
}
