/**
 * From millimetres and newtons to pixels: lines, round ticks, what range a chart shows. Pure.
 *
 * @typedef {import("./state.js").State} State
 * @typedef {(value: number) => number} Scale
 */
import { behind } from "./state.js";

/** Two-sided 95 % point of the normal distribution: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.1. */
export const Z_95 = 1.96;

/** Straight line from [a, b] to [p, q]. @param {[number, number]} from @param {[number, number]} to @returns {Scale} */
export function linear([a, b], [p, q]) {
  return (value) => p + ((value - a) * (q - p)) / (b - a);
}

/**
 * Round values from low to high, at most `most` of them, apart by 1, 2 or 5 times a power of ten.
 * @param {number} low
 * @param {number} high
 * @param {number} most
 */
export function ticks(low, high, most) {
  const least = (high - low) / Math.max(1, most - 1);
  const power = 10 ** Math.floor(Math.log10(least));
  const apart = [1, 2, 5, 10].map((k) => k * power).find((each) => each >= least * (1 - 1e-9)) ?? 10 * power;
  const first = Math.ceil(low / apart - 1e-9);
  const last = Math.floor(high / apart + 1e-9);
  return Array.from({ length: Math.max(0, last - first + 1) }, (_, i) => (first + i) * apart);
}

/**
 * Which way the saddle moved to reach position i of the plan; the first counts as the second.
 * @param {number[]} planned_mm
 * @param {number} i
 */
export function direction(planned_mm, i) {
  const at = Math.max(1, i);
  return planned_mm.length > at && planned_mm[at] > planned_mm[at - 1] ? "rearward" : "forward";
}

/**
 * Setbacks shown, mm: plan, steps, saddle and suggestion, with a margin; [rear, front].
 * @param {State} state
 * @returns {[number, number]}
 */
export function setbackSpan({ sweep, steps, onset }) {
  const all = [
    ...(sweep?.planned_mm ?? []),
    ...steps.map((step) => step.setback_mm),
    ...[sweep?.setback_mm, onset?.suggested_setback_mm].filter((mm) => typeof mm === "number"),
  ];
  if (!all.length) return [80, 30];
  const margin = Math.max(2, 0.06 * (Math.max(...all) - Math.min(...all)));
  return [Math.max(...all) + margin, Math.min(...all) - margin];
}

/** The load axis begins and ends on multiples of this, so that it stays put while steps are added. */
const LOAD_STEP_N = 20;

/**
 * Loads shown, N: points with their bars and the line, at least two steps of the axis.
 * @param {State} state
 * @returns {[number, number]}
 */
export function loadSpan(state) {
  const { steps, onset } = state;
  const ends = steps.flatMap((step) => [-1, 1].map((sign) => step.hand_load_n + sign * Z_95 * (step.se_n ?? 0)));
  const before = steps.length ? (behind(state)?.steps ?? []).map((step) => step.hand_load_n) : [];
  const all = [...ends, ...before, ...(onset?.line?.hand_load_n ?? [])];
  if (!all.length) return [60, 100];
  const [low, high] = [Math.min(...all), Math.max(...all)];
  const floor = Math.floor(low / LOAD_STEP_N) * LOAD_STEP_N;
  return [floor, Math.max(floor + 2 * LOAD_STEP_N, Math.ceil(high / LOAD_STEP_N) * LOAD_STEP_N)];
}
