/** The controls, always at the same place along the bottom: step back, setback, the large button, stop. */
import { notNow } from "../../barred.js";
import { el, setAttribute, setText } from "../../dom.js";
import { number } from "../../format.js";
import { sendMark } from "../../commands.js";
import { confirmMain, ifAccepted } from "../../keys.js";
import { PAIN } from "../../state.js";
import { entryDoubt, idleLabel, mainAction } from "../../words.js";
import { stopButton } from "./stop.js";

/** @typedef {import("../../state.js").State} State @typedef {import("../../store.js").Store} Store */

/** The sweep's events that have a plain button: event, words, key. */
const PLAIN = /** @type {const} */ ([
  ["pause", "Pause", "P"],
  ["redo", "Redo", "R"],
  ["undo", "Undo", "U"],
  ["enough", "Enough", "E"],
]);

/** What can be marked in passing: what is kept, words, key. */
const MARKS = /** @type {const} */ ([
  ["hands moved", "Hands moved", "H"],
  [PAIN, "Pain", "N"],
  ["coughed or talked", "Coughed", "C"],
]);

/** @param {Store} store */
export function dock(store) {
  const plain = PLAIN.map(([event, words, key]) => ({
    event,
    node: el(
      "button",
      { type: "button", class: "plain", onclick: () => store.inTurn(() => ifAccepted(store, event)) },
      words,
      el("kbd", {}, key),
    ),
  }));
  const marks = MARKS.map(([text, words, key]) =>
    el(
      "button",
      { type: "button", class: "plain", onclick: () => (text === PAIN ? sendMark(store, text) : store.inTurn(() => sendMark(store, text))) },
      words,
      el("kbd", {}, key),
    ),
  );
  const press = () => {
    const to = mainAction(store.state)?.to;
    return to ? void (location.hash = to) : confirmMain(store);
  };
  const mainWords = el("span", { class: "main-words" });
  const mainKey = el("kbd", {}, "space or pedal");
  const main = el("button", { type: "button", class: "main", onclick: press }, mainWords, mainKey);
  const stop = stopButton(store);
  const entry = entryGroup(store);
  const why = el("p", { class: "why-not", id: "why-not", role: "status" });
  const node = el(
    "section",
    { class: "dock", "aria-label": "Controls" },
    el("div", { class: "plains" }, ...plain.map((each) => each.node), ...marks, why),
    entry.node,
    main,
    stop.node,
  );

  /** @param {State} state @param {import("../../glance.js").Glance} seen */
  function draw(state, seen) {
    const accepts = state.sweep?.accepts ?? [];
    for (const each of plain) {
      const barred = notNow(state, each.event);
      setAttribute(each.node, "disabled", barred !== "");
      setAttribute(each.node, "title", barred || null);
    }
    setText(why, state.sweep?.state === "moving" ? notNow(state, "redo") : "");
    setAttribute(plain[1].node, "aria-describedby", why.textContent ? why.id : null);
    for (const mark of marks) setAttribute(mark, "disabled", !accepts.includes("stop"));
    const action = mainAction(state);
    setText(mainWords, action?.label ?? idleLabel(seen));
    setAttribute(main, "data-kind", action ? null : seen.kind);
    setAttribute(main, "disabled", action === null);
    setAttribute(main, "aria-busy", action?.event && state.sending === action.event ? "true" : null);
    setAttribute(mainKey, "hidden", !action?.event);
    stop.draw(state);
    entry.draw(state);
  }
  return { node, draw };
}

/** Steppers stand as the bicycle does: rearward, which is more setback, on the left. @param {Store} store */
function entryGroup(store) {
  const steps = [5, 1, -1, -5].map((by_mm) =>
    el(
      "button",
      {
        type: "button",
        class: "stepper",
        "aria-label": `${Math.abs(by_mm)} mm ${by_mm > 0 ? "rearward" : "forward"}`,
        onclick: () => store.dispatch({ type: "page/entry", by_mm }),
      },
      number(by_mm).replace(/^(?=\d)/, "+"),
    ),
  );
  const value = el("output", { class: "entry-value" });
  const what = el("span", {});
  const doubt = el("p", { class: "entry-doubt", role: "status" });
  const node = el(
    "div",
    { class: "entry", role: "group", "aria-label": "Setback entered, mm behind the BB" },
    el("div", { class: "entry-row" }, steps[0], steps[1], value, steps[2], steps[3]),
    el(
      "p",
      { class: "entry-ends", "aria-hidden": "true" },
      el("span", {}, "◀ rearward"),
      what,
      el("span", {}, "forward ▶"),
    ),
    doubt,
  );

  /** @param {State} state */
  function draw(state) {
    const to = state.sweep?.measured_to;
    setText(what, to ? `${to}, mm` : "setback, mm");
    const open = state.sweep?.accepts.includes("saddle_moved") ?? false;
    setText(value, number(open ? state.entry_mm : state.sweep?.setback_mm));
    for (const step of steps) setAttribute(step, "disabled", !open);
    setText(doubt, open ? entryDoubt(state) : "");
  }
  return { node, draw };
}
