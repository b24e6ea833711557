/**
 * Whether a number on the page is current, and what to say if it is not. Pure: the page's clock is passed in.
 *
 * @typedef {import("./state.js").State} State
 * @typedef {{live: boolean, words: string}} Freshness
 */
import { seconds } from "./format.js";

/** `sources` arrives twice a second; after this long without it, nothing is known about the sensors. */
const UNVOUCHED_MS = 2500;
const BLOCK_STALE_MS = 1000;
/** Longer than any stroke a fitter would record: 20 rpm. */
const STROKE_STALE_MS = 3000;

const LIVE = Object.freeze({ live: true, words: "" });

/**
 * Age of a source's last data, s, counted on from the daemon's last report.
 * @param {State} state
 * @param {any} source
 * @param {number} now_ms
 */
export function ageOf(state, source, now_ms) {
  if (source.age_s === null || state.sources_ms === null) return null;
  return source.age_s + Math.max(0, now_ms - state.sources_ms) / 1000;
}

/**
 * One source as its chip shows it.
 * @param {State} state
 * @param {any} source
 * @param {number} now_ms
 * @returns {Freshness}
 */
export function sourceFreshness(state, source, now_ms) {
  const unvouched =
    state.link.state !== "open" || state.sources_ms === null || now_ms - state.sources_ms > UNVOUCHED_MS;
  if (source.state === "live" && !unvouched) return LIVE;
  const age_s = ageOf(state, source, now_ms);
  if (source.state === "absent" || age_s === null) return { live: false, words: "absent" };
  return { live: false, words: `no data ${seconds(age_s)}` };
}

/** Hands, saddle, tilt as they stream in. @param {State} state @param {number} now_ms @returns {Freshness} */
export function loadsFreshness(state, now_ms) {
  const board = state.sources.find((source) => source.kind === "board");
  if (board) {
    const fresh = sourceFreshness(state, board, now_ms);
    if (!fresh.live) return fresh;
  }
  if (!state.loads) return { live: false, words: "no data yet" };
  const age_ms = now_ms - state.loads.received_ms;
  return age_ms <= Math.max(BLOCK_STALE_MS, 1000 * (board?.stale_after_s ?? 0)) ? LIVE : { live: false, words: `no data ${seconds(age_ms / 1000)}` };
}

/** Means over the last stroke. @param {State} state @param {number} now_ms @returns {Freshness} */
export function strokeFreshness(state, now_ms) {
  const loads = loadsFreshness(state, now_ms);
  if (!loads.live) return loads;
  if (state.stroke_ms === null) return { live: false, words: "no stroke yet" };
  const age_ms = now_ms - state.stroke_ms;
  return age_ms <= STROKE_STALE_MS ? LIVE : { live: false, words: `no stroke ${seconds(age_ms / 1000)}` };
}

/**
 * Power and cadence: a fresh stroke and a live power sensor.
 * @param {State} state
 * @param {number} now_ms
 * @returns {Freshness}
 */
export function powerFreshness(state, now_ms) {
  const sensor = state.sources.find((source) => source.kind === "power");
  if (!sensor) return { live: false, words: "no power sensor" };
  const fresh = sourceFreshness(state, sensor, now_ms);
  return fresh.live ? strokeFreshness(state, now_ms) : fresh;
}
