/**
 * The keyboard: one table, read by the listener and by the list on the page.
 *
 * Space and Enter go to a focused control, so a control clicked with the pointer gives up its focus at once: a foot
 * pedal, which sends the space bar, must always reach the large button and never what was clicked last. In a number a
 * space means nothing, so there the pedal takes what is typed and goes on to the large button.
 *
 * @typedef {import("./store.js").Store} Store
 * @typedef {{keys: string[], shown: string, does: string, letter?: boolean, anywhere?: boolean,
 *   urgent?: boolean, run: (store: Store) => void}} Shortcut
 */
import { sendEvent, sendMark } from "./commands.js";
import { asksForNumber } from "./screens/run/move.js";
import { score } from "./screens/run/says.js";
import { PAIN } from "./state.js";
import { mainAction, TICK } from "./words.js";

/** @param {Store} store @param {string} event */
export function ifAccepted(store, event) {
  if (store.state.sweep?.accepts.includes(event)) sendEvent(store, event);
}

/**
 * The pedal never opens the plan: it only confirms what a sweep waits for. A press means what the button said when it
 * was pressed: a second press while the first is in progress must not confirm the next thing unseen.
 * @param {Store} store
 */
export function confirmMain(store) {
  const event = mainAction(store.state)?.event;
  if ((event === TICK || event === "saddle_moved") && asksForNumber()) return;
  if (event === TICK) store.dispatch({ type: "page/tick" });
  else if (event) store.inTurn(() => mainAction(store.state)?.event === event && void sendEvent(store, event));
}

/** @param {number} by_mm */
const enter = (by_mm) => (/** @type {Store} */ store) => {
  if (store.state.sweep?.accepts.includes("saddle_moved")) store.dispatch({ type: "page/entry", by_mm });
};

/** @type {Shortcut[]} */
export const SHORTCUTS = [
  {
    keys: ["Escape"],
    shown: "Esc",
    does: "Stop, on every screen, at any time",
    anywhere: true,
    urgent: true,
    run: (store) =>
      mayRun(store) ? void sendEvent(store, "stop") : store.dispatch({ type: "page/panel", shown: false }),
  },
  {
    keys: [" ", "Enter"],
    shown: "Space, Enter, pedal",
    does: "The large button: begin, saddle is there, resume",
    run: confirmMain,
  },
  { keys: ["ArrowRight"], shown: "→", does: "Setback 1 mm forward (less)", run: enter(-1) },
  { keys: ["ArrowLeft"], shown: "←", does: "Setback 1 mm rearward (more)", run: enter(1) },
  { keys: ["Shift+ArrowRight"], shown: "Shift →", does: "Setback 5 mm forward (less)", run: enter(-5) },
  { keys: ["Shift+ArrowLeft"], shown: "Shift ←", does: "Setback 5 mm rearward (more)", run: enter(5) },
  {
    keys: ["p"],
    shown: "P",
    does: "Pause, resume",
    letter: true,
    run: (store) => ifAccepted(store, store.state.sweep?.state === "paused" ? "resume" : "pause"),
  },
  { keys: ["r"], shown: "R", does: "Redo the step", letter: true, run: (store) => ifAccepted(store, "redo") },
  {
    keys: ["u"],
    shown: "U",
    does: "Undo the setback entered",
    letter: true,
    run: (store) => ifAccepted(store, "undo"),
  },
  {
    keys: ["e"],
    shown: "E",
    does: "Enough: finish here with the steps done",
    letter: true,
    run: (store) => ifAccepted(store, "enough"),
  },
  {
    keys: ["h"],
    shown: "H",
    does: "Mark: hands moved",
    letter: true,
    run: (store) => void sendMark(store, "hands moved"),
  },
  {
    keys: ["n"],
    shown: "N",
    does: "Pain or numbness: pauses the sweep",
    letter: true,
    urgent: true,
    run: (store) => void sendMark(store, PAIN),
  },
  {
    keys: ["c"],
    shown: "C",
    does: "Mark: coughed or talked",
    letter: true,
    run: (store) => void sendMark(store, "coughed or talked"),
  },
  ...Array.from({ length: 11 }, (_, value) => ({
    keys: [value < 10 ? String(value) : "+"],
    shown: value === 0 ? "0–9, + for 10" : "",
    does: "The rider’s score, to the question that is open",
    letter: true,
    run: (/** @type {Store} */ store) => score(store, value),
  })),
  {
    keys: ["t"],
    shown: "T",
    does: "Chart or table",
    letter: true,
    run: (store) => store.dispatch({ type: "page/table" }),
  },
  {
    keys: ["?"],
    shown: "?",
    does: "Keys and settings",
    letter: true,
    anywhere: true,
    run: (store) => store.dispatch({ type: "page/panel" }),
  },
];

/** A page that has not heard of a sweep yet, or not since the line broke, cannot say that none is ridden. @param {Store} store */
function mayRun({ state: { sweep, panel_shown, link } }) {
  if (!sweep && link.state !== "open" && !link.over) return true;
  // Before the first step there is nothing for a stop to end: it closes the list of keys first.
  if (sweep?.state === "waiting" && panel_shown) return false;
  return sweep?.accepts.includes("stop") ?? false;
}

const NUMBER_FIELD = "input.number";
/** What must not keep the focus once it was clicked. */
const PRESSED = "button, summary, input[type=checkbox]";

const BY_KEY = new Map(SHORTCUTS.flatMap((shortcut) => shortcut.keys.map((key) => [key, shortcut])));

/**
 * Which shortcut a key press means here, if any. Away from the run's screen, only those marked `anywhere`: a key
 * pressed on the rider's screen must not confirm a setback.
 * @param {KeyboardEvent} event @param {{letters: boolean, onRun: boolean}} where
 */
export function shortcutFor(event, { letters, onRun }) {
  if (event.repeat && !event.key.startsWith("Arrow")) return undefined;
  if (event.ctrlKey || event.altKey || event.metaKey) return undefined;
  const target = event.target instanceof Element ? event.target : null;
  const writes = target?.closest("input:not([type=checkbox]), select, textarea");
  const presses = target?.closest("button, a[href], summary, input[type=checkbox]");
  const leaves = event.key === "Escape" || (event.key === " " && onRun && target?.matches(NUMBER_FIELD));
  if (writes && !leaves) return undefined;
  if (presses && (event.key === " " || event.key === "Enter")) return undefined;
  if (target?.closest("[role=region][tabindex], [role=listbox]") && event.key.startsWith("Arrow")) return undefined;
  const name =
    event.shiftKey && event.key.startsWith("Arrow")
      ? `Shift+${event.key}`
      : event.key.length === 1
        ? event.key.toLowerCase()
        : event.key;
  const shortcut = BY_KEY.get(name);
  if ((shortcut?.letter && !letters) || !(onRun || shortcut?.anywhere)) return undefined;
  return shortcut;
}

/** A second press of the large button's key within this time is a bouncing pedal. Common practice, no source. */
const BOUNCE_MS = 600;

/** @param {Store} store */
export function listenToKeys(store) {
  let confirmed_ms = -Infinity;
  addEventListener("keydown", (event) => {
    const shortcut = shortcutFor(event, {
      letters: store.state.settings.letters,
      onRun: document.documentElement.dataset.view === "run",
    });
    if (!shortcut) return;
    event.preventDefault();
    if (shortcut.run === confirmMain) {
      if (event.target instanceof HTMLElement && event.target.matches(NUMBER_FIELD)) event.target.blur();
      if (event.timeStamp - confirmed_ms < BOUNCE_MS) return;
      confirmed_ms = event.timeStamp;
    }
    if (shortcut.urgent || shortcut.run === confirmMain) shortcut.run(store);
    else store.inTurn(() => shortcut.run(store));
  });
  // The click that a label passes on to its box does not say that it came from a pointer.
  let by_pointer = false;
  addEventListener("pointerdown", () => void (by_pointer = true), true);
  addEventListener("keydown", () => void (by_pointer = false), true);
  addEventListener("click", ({ target }) => {
    const pressed = target instanceof Element ? target.closest(PRESSED) : null;
    if (by_pointer && pressed instanceof HTMLElement) pressed.blur();
  });
}
