/**
 * The onset chart: hand load against setback as SVG, with the rail of planned positions under it on the same scale.
 *
 * The front of the bicycle is on the right, as everywhere on the page: setback falls from left to right, so the
 * saddle coming forward reads from left to right. Triangles point the way the saddle was moving.
 *
 * @typedef {import("./state.js").State} State
 * @typedef {import("./state.js").Step} Step
 * @typedef {(value: number) => number} Scale
 * @typedef {{left: number, right: number, top: number, bottom: number, rail: number, width: number, height: number}} Frame
 */
import { svg } from "./dom.js";
import { number, travel } from "./format.js";
import { isNamed } from "./words.js";

/** Two-sided 95 % point of the normal distribution: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.1. */
export const Z_95 = 1.96;

/** Straight line from [a, b] to [p, q]. @param {[number, number]} from @param {[number, number]} to @returns {Scale} */
export function linear([a, b], [p, q]) {
  return (value) => p + ((value - a) * (q - p)) / (b - a);
}

/** Round values from low to high, at most `most` of them, apart by 1, 2 or 5 times a power of ten. @param {number} low @param {number} high @param {number} most */
export function ticks(low, high, most) {
  const least = (high - low) / Math.max(1, most - 1);
  const power = 10 ** Math.floor(Math.log10(least));
  const apart = [1, 2, 5, 10].map((k) => k * power).find((each) => each >= least * (1 - 1e-9)) ?? 10 * power;
  const first = Math.ceil(low / apart - 1e-9);
  const last = Math.floor(high / apart + 1e-9);
  return Array.from({ length: Math.max(0, last - first + 1) }, (_, i) => (first + i) * apart);
}

/** Which way the saddle moved to reach position i of the plan; the first counts as the second. @param {number[]} planned_mm @param {number} i */
export function direction(planned_mm, i) {
  const at = Math.max(1, i);
  return planned_mm.length > at && planned_mm[at] > planned_mm[at - 1] ? "rearward" : "forward";
}

/** Setbacks shown, mm: plan, steps and saddle, with a margin; [rear, front]. @param {State} state @returns {[number, number]} */
export function setbackSpan({ sweep, steps }) {
  const all = [...(sweep?.planned_mm ?? []), ...steps.map((step) => step.setback_mm), ...[sweep?.setback_mm].filter((mm) => typeof mm === "number")];
  if (!all.length) return [80, 30];
  const margin = Math.max(2, 0.06 * (Math.max(...all) - Math.min(...all)));
  return [Math.max(...all) + margin, Math.min(...all) - margin];
}

/** Loads shown, N: points with their bars and the line, never less than 10 N apart. @param {State} state @returns {[number, number]} */
export function loadSpan({ steps, onset }) {
  const ends = steps.flatMap((step) => [-1, 1].map((sign) => step.hand_load_n + sign * Z_95 * (step.se_n ?? 0)));
  const all = [...ends, ...(onset?.line?.hand_load_n ?? [])];
  if (!all.length) return [60, 100];
  const [low, high] = [Math.min(...all), Math.max(...all)];
  const margin = Math.max(0.1 * (high - low), (10 - (high - low)) / 2);
  return [low - margin, high + margin];
}

/** @param {State} state @param {number} width @param {number} height px @returns {SVGSVGElement} */
export function onsetChart(state, width, height) {
  const frame = { left: 58, right: width - 24, top: 48, bottom: height - 96, rail: height - 46, width, height };
  const loads = loadSpan(state);
  const x = linear(setbackSpan(state), [frame.left, frame.right]);
  const y = linear(loads, [frame.bottom, frame.top]);
  return svg(
    "svg",
    { viewBox: `0 0 ${width} ${height}`, width, height, class: "onset-chart", "aria-hidden": "true" },
    ...grid(frame, x, y, setbackSpan(state), loads),
    ...answer(state, frame, x),
    ...fittedLine(state, x, y),
    ...state.steps.flatMap((step, i) => point(step, direction(state.sweep?.planned_mm ?? [], step.index), x, y, i === state.steps.length - 1)),
    ...rail(state, frame, x),
  );
}

function grid(/** @type {Frame} */ f, /** @type {Scale} */ x, /** @type {Scale} */ y, /** @type {number[]} */ [rear, front], /** @type {number[]} */ [low, high]) {
  const rows = ticks(low, high, Math.max(3, Math.floor((f.bottom - f.top) / 32)));
  const columns = ticks(front, rear, Math.max(3, Math.floor((f.right - f.left) / 84)));
  return [
    ...rows.flatMap((n) => [
      svg("line", { class: "grid", x1: f.left, x2: f.right, y1: y(n), y2: y(n) }),
      svg("text", { class: "tick", x: f.left - 10, y: y(n), "text-anchor": "end", "dominant-baseline": "central" }, number(n)),
    ]),
    svg("line", { class: "axis", x1: f.left, x2: f.right, y1: f.bottom, y2: f.bottom }),
    ...columns.flatMap((mm) => [
      svg("line", { class: "axis", x1: x(mm), x2: x(mm), y1: f.bottom, y2: f.bottom + 6 }),
      svg("text", { class: "tick", x: x(mm), y: f.bottom + 22, "text-anchor": "middle" }, number(mm)),
    ]),
    svg("text", { class: "axis-name", x: f.left - 46, y: 13 }, "hand load, N (bars 95 %)"),
    svg("text", { class: "axis-name", x: f.right, y: 13, "text-anchor": "end" }, "▶ coming forward\u2003◁ going back"),
    svg("text", { class: "axis-name", x: f.left, y: f.height - 6 }, "◀ rearward"),
    svg("text", { class: "axis-name", x: (f.left + f.right) / 2, y: f.height - 6, "text-anchor": "middle" }, "setback, mm behind the BB"),
    svg("text", { class: "axis-name", x: f.right, y: f.height - 6, "text-anchor": "end" }, "forward ▶"),
  ];
}

/** Band, onset and suggested setback: only when an onset may be named. */
function answer(/** @type {State} */ { onset, steps }, /** @type {Frame} */ f, /** @type {Scale} */ x) {
  if (!onset || !isNamed(onset) || onset.onset_mm === null) return [];
  const at = x(onset.onset_mm);
  const parts = [];
  if (onset.interval_95_mm) {
    const [near, far] = [x(onset.interval_95_mm[1]), x(onset.interval_95_mm[0])];
    parts.push(svg("rect", { class: "band", x: near, width: far - near, y: f.top, height: f.bottom - f.top }));
    parts.push(svg("path", { class: "band-edge", d: `M${near},${f.top}V${f.bottom}M${far},${f.top}V${f.bottom}` }));
  }
  parts.push(svg("line", { class: "onset-line", x1: at, x2: at, y1: f.top - 6, y2: f.bottom }));
  parts.push(svg("text", { class: "onset-name", x: at, y: f.top - 12, "text-anchor": "middle" }, `onset ${number(onset.onset_mm, 1)}`));
  if (onset.suggested_setback_mm !== null) parts.push(...suggestion(onset.suggested_setback_mm, f, x));
  return parts;
}

function suggestion(/** @type {number} */ mm, /** @type {Frame} */ f, /** @type {Scale} */ x) {
  const at = x(mm);
  const inner = at - f.left > 130;
  return [
    svg("line", { class: "suggested-line", x1: at, x2: at, y1: f.top + 22, y2: f.bottom }),
    svg("path", { class: "suggested", d: `M${at},${f.top + 22}l8,-9l-8,-9l-8,9z` }),
    svg("text", { class: "suggested-name", x: inner ? at - 14 : at + 14, y: f.top + 13, "text-anchor": inner ? "end" : "start", "dominant-baseline": "central" }, `suggested ${number(mm)}`),
  ];
}

function fittedLine(/** @type {State} */ { onset, steps }, /** @type {Scale} */ x, /** @type {Scale} */ y) {
  const line = onset?.line;
  if (!line) return [];
  const d = line.setback_mm.map((mm, i) => `${i ? "L" : "M"}${x(mm)},${y(line.hand_load_n[i])}`).join("");
  return [svg("path", { class: isNamed(onset) ? "fit" : "fit unsure", d })];
}

function point(/** @type {Step} */ step, /** @type {string} */ way, /** @type {Scale} */ x, /** @type {Scale} */ y, /** @type {boolean} */ newest) {
  const [px, py] = [x(step.setback_mm), y(step.hand_load_n)];
  const tip = way === "forward" ? 1 : -1;
  const parts = [svg("path", { class: `point ${way}`, d: `M${px + 9 * tip},${py}L${px - 6 * tip},${py - 8}V${py + 8}Z` })];
  if (newest) parts.unshift(svg("circle", { class: "newest", cx: px, cy: py, r: 16 }));
  if (step.se_n !== null) {
    const [low, high] = [y(step.hand_load_n - Z_95 * step.se_n), y(step.hand_load_n + Z_95 * step.se_n)];
    parts.unshift(svg("path", { class: "error-bar", d: `M${px},${low}V${high}M${px - 6},${low}h12M${px - 6},${high}h12` }));
  }
  return parts;
}

/** Planned positions, those done, the saddle now, and the way to where it is asked to go. */
function rail(/** @type {State} */ { sweep, steps, entry_mm }, /** @type {Frame} */ f, /** @type {Scale} */ x) {
  const done = new Set(steps.map((step) => step.index));
  /** @type {SVGElement[]} */
  const parts = [svg("line", { class: "rail", x1: f.left, x2: f.right, y1: f.rail, y2: f.rail })];
  if (!sweep) return parts;
  for (const [i, mm] of sweep.planned_mm.entries()) {
    const kind = done.has(i) ? "done" : i === steps.length && sweep.state !== "waiting" ? "asked" : "open";
    parts.push(svg("circle", { class: `stop ${kind}`, cx: x(mm), cy: f.rail, r: kind === "asked" ? 9 : 5 }));
  }
  const moving = sweep.state === "moving" && sweep.asked_setback_mm !== null;
  if (sweep.setback_mm !== null) parts.push(saddle(x(sweep.setback_mm), f.rail));
  if (moving && sweep.setback_mm !== null && sweep.asked_setback_mm !== null) parts.push(...wayTo(sweep.setback_mm, sweep.asked_setback_mm, f, x));
  if (moving && entry_mm !== null && entry_mm !== sweep.asked_setback_mm) {
    parts.push(svg("path", { class: "entry", d: `M${x(entry_mm)},${f.rail + 12}l7,12h-14z` }));
  }
  return parts;
}

/** A saddle seen from the side, nose to the right, its reference point at (x, y). */
function saddle(/** @type {number} */ x, /** @type {number} */ y) {
  return svg("path", { class: "saddle-now", transform: `translate(${x},${y - 14})`, d: "M0,-5C-14,-5 -24,-5 -36,-10C-42,-12 -45,-8 -43,-3C-41,1 -34,3 -28,1C-18,-2 -10,0 -1,1Q3,-2 0,-5ZM-33,3L-26,8H-10L-5,1L-11,6H-25L-30,2Z" });
}

function wayTo(/** @type {number} */ from_mm, /** @type {number} */ to_mm, /** @type {Frame} */ f, /** @type {Scale} */ x) {
  const [from, to] = [x(from_mm), x(to_mm)];
  if (Math.abs(to - from) < 14) return [];
  const tip = Math.sign(to - from);
  const end = to - 11 * tip;
  return [
    svg("path", { class: "way", d: `M${from},${f.rail}H${end - 7 * tip}M${end},${f.rail}l${-9 * tip},-6v12z` }),
    svg("text", { class: "way-name", x: (from + to) / 2, y: f.rail + 20, "text-anchor": "middle" }, travel(from_mm, to_mm)),
  ];
}
