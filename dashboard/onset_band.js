/**
 * The onset and its 95 % interval as every chart of the page draws them, and the key beside their numbers: a green band
 * with dashed edges is the interval, the line in it the onset, and nothing else is drawn so.
 */
import { svg } from "./dom.js";
import { number } from "./format.js";

/** @typedef {{onset_mm: number, interval_95_mm: [number, number]|null}} Placed */

/**
 * @param {Placed} onset @param {import("./scales.js").Scale} x @param {{left: number, right: number, top: number, bottom: number}} f
 * @returns {SVGElement[]}
 */
export function onsetBand({ onset_mm, interval_95_mm }, x, f) {
  const at = x(onset_mm);
  const line = svg("line", { class: "onset-line", x1: at, x2: at, y1: f.top - 6, y2: f.bottom });
  if (!interval_95_mm) return [line];
  const [rear, front] = edges(interval_95_mm, x, f);
  return [
    svg("rect", { class: "band", x: rear, width: front - rear, y: f.top, height: f.bottom - f.top }),
    svg("path", { class: "band-edge", d: `M${rear},${f.top}V${f.bottom}M${front},${f.top}V${f.bottom}` }),
    line,
  ];
}

/** Where the interval ends on a chart, rear first, px. @param {[number, number]} interval @param {import("./scales.js").Scale} x @param {{left: number, right: number}} f */
export function edges([front_mm, rear_mm], x, f) {
  const within = (/** @type {number} */ px) => Math.min(f.right, Math.max(f.left, px));
  return [within(x(rear_mm)), within(x(front_mm))];
}

/** What the line is called on a chart. @param {Placed} onset */
export const onsetName = ({ onset_mm }) => `onset ${number(onset_mm, 1)}`;

/** The band in small, beside the number that it shows. */
export function bandKey() {
  return svg(
    "svg",
    { viewBox: "-1 0 28 14", class: "band-key", "aria-hidden": "true" },
    svg("rect", { class: "band", x: 0, width: 26, y: 0, height: 14 }),
    svg("path", { class: "band-edge", d: "M0,0V14M26,0V14" }),
    svg("path", { class: "onset-line", d: "M13,0V14" }),
  );
}
