/** The panel at the side: the keys, the settings, who is let in, the messages so far. */
import { changes, el, setAttribute } from "./dom.js";
import { SHORTCUTS } from "./keys.js";
import { letIn } from "./let_in.js";

/** @typedef {import("./state.js").State} State @typedef {import("./store.js").Store} Store */

export function sidePanel(/** @type {HTMLElement} */ side, /** @type {Store} */ store) {
  const set = (/** @type {object} */ change) => store.dispatch({ type: "page/settings", ...change });
  const box = (/** @type {string} */ name, /** @type {string} */ words) => {
    const input = el("input", { type: "checkbox", id: `set-${name}`, onchange: () => set({ [name]: input.checked }) });
    return { name, input, node: el("p", { class: "field check" }, input, el("label", { for: `set-${name}` }, words)) };
  };
  const boxes = [
    box("beeps", "Beeps"),
    box("speech", "Spoken cues"),
    box("awake", "Keep the screen awake during a sweep"),
    box("letters", "Single-letter keys"),
    box("one_by_one", "One press for each part of a move"),
  ];
  const choice = (/** @type {string} */ name, /** @type {string} */ words, /** @type {string[]} */ options) => {
    const select = el(
      "select",
      { id: `set-${name}`, onchange: () => set({ [name]: select.value }) },
      ...options.map((each) => el("option", { value: each }, each)),
    );
    return { name, select, node: el("p", { class: "field" }, el("label", { for: `set-${name}` }, words), select) };
  };
  const choices = [
    choice("theme", "Colours", ["auto", "light", "dark"]),
    choice("decimal", "Decimal sign", ["auto", "point", "comma"]),
  ];
  const log = el("ol", { class: "log" });
  const logChanged = changes();
  const screens = letIn(store);
  const shownChanged = changes();
  side.replaceChildren(
    el(
      "header",
      {},
      el("h2", {}, "Keys"),
      el(
        "button",
        { type: "button", class: "small", onclick: () => store.dispatch({ type: "page/panel", shown: false }) },
        "Close",
      ),
    ),
    el(
      "dl",
      { class: "keys" },
      ...SHORTCUTS.filter((each) => each.shown).map((each) => el("div", {}, el("dt", {}, el("kbd", {}, each.shown)), el("dd", {}, each.does))),
    ),
    el("h2", {}, "Settings"),
    ...[...boxes, ...choices].map((each) => each.node),
    el("h2", {}, "Screens let in"),
    screens.node,
    el("h2", {}, "Messages"),
    log,
  );

  return (/** @type {State} */ state) => {
    setAttribute(side, "hidden", !state.panel_shown);
    if (shownChanged(state.panel_shown) && state.panel_shown) void screens.refresh();
    for (const { name, input } of boxes) input.checked = Boolean(state.settings[/** @type {"beeps"} */ (name)]);
    for (const { name, select } of choices) {
      const value = String(state.settings[/** @type {"theme"} */ (name)]);
      if (select.value !== value) select.value = value;
    }
    if (logChanged(state.notices))
      log.replaceChildren(
        ...[...state.notices].reverse().map((each) => el("li", { "data-level": each.level }, each.text)),
      );
  };
}
