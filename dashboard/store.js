/**
 * The one place that holds the state: messages go in, screens draw from it once per animation frame.
 *
 * @typedef {import("./state.js").State} State
 * @typedef {(state: State, now_ms: number) => void} Draw
 * @typedef {ReturnType<typeof createStore>} Store
 */
import { initial, reduce } from "./state.js";

/** More presses than anybody makes while waiting for one answer: a key held down, or a bouncing pedal. */
const MOST_WAITING = 8;

/** @param {import("./trace.js").Trace} trace the last seconds of raw loads, which are too many to be state */
export function createStore(trace) {
  let state = initial;
  /** @type {Set<Draw>} */
  const draws = new Set();
  /** @type {Set<(before: State, after: State) => void>} */
  const watchers = new Set();
  /** @type {(() => void)[]} */
  let waiting = [];
  function takeTurns() {
    while (state.sending === null && waiting.length) waiting.shift()?.();
  }
  return {
    trace,
    get state() {
      return state;
    },
    /** @param {any} message */
    dispatch(message) {
      const before = state;
      state = reduce(state, message);
      if (state !== before) watchers.forEach((watch) => watch(before, state));
      if (message.type === "page/refused") waiting = [];
      takeTurns();
    },
    /**
     * Runs what was pressed, at once or after the daemon's answer to the previous request: in the order of the presses,
     * on the state as it then is. A refusal drops everything that waits: it was meant for another state.
     * @param {() => void} run
     */
    inTurn(run) {
      if (waiting.length < MOST_WAITING) waiting.push(run);
      takeTurns();
    },
    /** Drops presses that have not run yet. */
    forgetTurns() {
      waiting = [];
    },
    /** Calls draw on every frame until the function returned is called. @param {Draw} draw */
    onFrame(draw) {
      draws.add(draw);
      return () => void draws.delete(draw);
    },
    /**
     * Calls watch after every change; for cues, never for drawing.
     * @param {(before: State, after: State) => void} watch
     */
    onChange(watch) {
      watchers.add(watch);
    },
    /** @param {number} now_ms */
    drawAll(now_ms) {
      draws.forEach((draw) => draw(state, now_ms));
    },
  };
}
