/**
 * The rail under the onset chart, on its scale: positions planned and done, the saddle, and where it has to go.
 *
 * @typedef {import("./state.js").State} State
 * @typedef {import("./scales.js").Scale} Scale
 * @typedef {import("./chart.js").Frame} Frame
 */
import { svg } from "./dom.js";

/** Planned positions, those done, the saddle now, and the way to where it is asked to go. */
export function rail(/** @type {State} */ { sweep, steps, entry_mm }, /** @type {Frame} */ f, /** @type {Scale} */ x) {
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
  if (moving && sweep.setback_mm !== null && sweep.asked_setback_mm !== null)
    parts.push(...wayTo(sweep.setback_mm, sweep.asked_setback_mm, f, x));
  if (moving && entry_mm !== null && entry_mm !== sweep.asked_setback_mm) {
    parts.push(svg("path", { class: "entry", d: `M${x(entry_mm)},${f.rail + 12}l7,12h-14z` }));
  }
  return parts;
}

const SHELL = "M0,-5C-14,-5 -24,-5 -36,-10C-42,-12 -45,-8 -43,-3C-41,1 -34,3 -28,1C-18,-2 -10,0 -1,1Q3,-2 0,-5Z";
const RAILS = "M-33,3L-26,8H-10L-5,1L-11,6H-25L-30,2Z";

/** A saddle seen from the side, nose to the right, its reference point at (x, y). */
function saddle(/** @type {number} */ x, /** @type {number} */ y) {
  return svg("path", {
    class: "saddle-now",
    transform: `translate(${x},${y - 14})`,
    d: SHELL + RAILS,
  });
}

function wayTo(
  /** @type {number} */ from_mm,
  /** @type {number} */ to_mm,
  /** @type {Frame} */ f,
  /** @type {Scale} */ x,
) {
  const [from, to] = [x(from_mm), x(to_mm)];
  if (Math.abs(to - from) < 14) return [];
  const tip = Math.sign(to - from);
  const end = to - 11 * tip;
  return [
    svg("path", { class: "way", d: `M${from},${f.rail}H${end - 7 * tip}M${end},${f.rail}l${-9 * tip},-6v12z` }),
  ];
}
