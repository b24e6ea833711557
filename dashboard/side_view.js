/**
 * Saddle and bar from the side, solid where they should be, dashed where they were. One scale for both, the bottom
 * bracket at the origin, the front on the right as everywhere on the page.
 *
 * @typedef {{setback_mm: number, saddle_height_mm: number|null, bar_x_mm: number|null, bar_y_mm: number|null}} Placed
 */
import { svg } from "./dom.js";

/** Used where the jig's own height or bar are unknown, mm: a medium road bicycle, only for the picture. */
const USUAL = { height_mm: 720, bar_x_mm: 470, bar_y_mm: 620 };
const SADDLE_MM = 270;
const VIEW = { width: 620, height: 150, margin: 14 };
/** Only this much below the higher of the two is drawn, and as much as holds the lower: what is set is up there. */
const [SHOWN_DOWN_MM, BELOW_MM] = [150, 80];

/** Above the bottom bracket, from the height along the seat tube. @param {Placed} at */
function saddleUp(at) {
  const height_mm = at.saddle_height_mm ?? USUAL.height_mm;
  return Math.sqrt(Math.max(0, height_mm ** 2 - at.setback_mm ** 2));
}

/** @param {Placed} now @param {Placed|null} before @returns {SVGSVGElement} */
export function sideView(now, before) {
  const bar = { x: now.bar_x_mm ?? USUAL.bar_x_mm, y: now.bar_y_mm ?? USUAL.bar_y_mm };
  const span = { left: -Math.max(now.setback_mm, before?.setback_mm ?? 0) - 0.62 * SADDLE_MM, right: bar.x + 90, top: Math.max(saddleUp(now), bar.y) + 45, bottom: Math.min(Math.max(saddleUp(now), bar.y) - SHOWN_DOWN_MM, Math.min(saddleUp(now), bar.y) - BELOW_MM) };
  const k = Math.min((VIEW.width - 2 * VIEW.margin) / (span.right - span.left), (VIEW.height - 2 * VIEW.margin) / (span.top - span.bottom));
  const x = (/** @type {number} */ mm) => VIEW.margin + (mm - span.left) * k;
  const y = (/** @type {number} */ mm) => VIEW.margin + (span.top - mm) * k;
  const saddle = (/** @type {Placed} */ at) => {
    const [cx, cy] = [x(-at.setback_mm), y(saddleUp(at))];
    const [back, tip] = [0.55 * SADDLE_MM * k, 0.45 * SADDLE_MM * k];
    return `M${cx - back},${cy - 9}q${0.3 * back},-5 ${0.8 * back},2l${0.2 * back + 0.75 * tip},5q${0.25 * tip},2 ${0.25 * tip},5l${-0.9 * tip},2l${-0.8 * back},7q${-0.35 * back},1 ${-0.3 * back},-12Z`;
  };
  const hook = (/** @type {number} */ bx, /** @type {number} */ by) => `M${x(bx) - 8},${y(by) - 4}h16q22,4 20,26q-3,18 -24,18`;
  const shown = [
    svg("path", { class: "frame", d: `M${x(0)},${y(0)}L${x(-now.setback_mm - 20)},${y(saddleUp(now) - 70)}M${x(0)},${y(0)}L${x(bar.x)},${y(bar.y - 150)}V${y(bar.y - 25)}` }),
    svg("path", { class: "plumb", d: `M${x(0)},${VIEW.height}V${y(saddleUp(now)) - 26}H${x(-now.setback_mm)}v10` }),
  ];
  if (before) {
    shown.push(svg("path", { class: "was", d: saddle(before) }));
    if (before.bar_x_mm !== null && before.bar_y_mm !== null) shown.push(svg("path", { class: "was", d: hook(before.bar_x_mm, before.bar_y_mm) }));
  }
  shown.push(
    svg("line", { class: "clamp", x1: x(-now.setback_mm) - 0.4 * SADDLE_MM * k, x2: x(-now.setback_mm) + 0.35 * SADDLE_MM * k, y1: y(saddleUp(now)) + 14, y2: y(saddleUp(now)) + 14 }),
    svg("path", { class: "saddle-shape", d: saddle(now) }),
    svg("path", { class: "bar-shape", d: hook(bar.x, bar.y) }),
  );
  return svg("svg", { viewBox: `0 0 ${VIEW.width} ${VIEW.height}`, class: "side-view", "aria-hidden": "true" }, ...shown);
}
