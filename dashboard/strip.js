/**
 * A strip chart of one load over the last seconds. Drawn once per frame from the trace, with at most two values per
 * pixel column, so its cost does not grow with the board's rate.
 *
 * @typedef {import("./trace.js").Trace} Trace
 */
import uPlot from "./vendor/uplot/uPlot.esm.js";
import { number } from "./format.js";
import { decimate } from "./trace.js";

/** The vendored module has no types of its own. @type {any} */
const Plot = uPlot;

export const SPAN_S = 20;
const Y_STEP_N = 20;
const LEAST_SPAN_N = 40;

/**
 * Bounds on multiples of 20 N around the data, at least 40 N apart, so that they seldom move.
 * @param {number|null} low
 * @param {number|null} high
 * @returns {[number, number]}
 */
export function loadBounds(low, high) {
  if (low === null || high === null || !Number.isFinite(low + high)) return [0, LEAST_SPAN_N];
  const floor = Math.floor(low / Y_STEP_N) * Y_STEP_N;
  return [floor, Math.max(floor + LEAST_SPAN_N, Math.ceil(high / Y_STEP_N) * Y_STEP_N)];
}

/**
 * @param {HTMLElement} host whose colour and font the strip takes
 * @param {number} column of the trace
 */
export function createStrip(host, column) {
  const ink = { line: "", text: "", grid: "", font: "" };
  const readInk = () => {
    const style = getComputedStyle(host);
    const rules = getComputedStyle(/** @type {Element} */ (host.parentElement));
    Object.assign(ink, {
      line: style.color,
      text: rules.color,
      grid: rules.borderTopColor,
      font: `${rules.fontSize} ${rules.fontFamily}`,
    });
  };
  readInk();
  const size = { width: Math.max(1, host.clientWidth), height: Math.max(1, host.clientHeight) };
  const rule = { stroke: () => ink.grid, width: 1 };
  const plot = new Plot(
    {
      ...size,
      padding: [9, 0, 9, 0],
      legend: { show: false },
      cursor: { show: false },
      scales: {
        x: { time: false },
        y: { range: (/** @type {any} */ _, /** @type {any} */ low, /** @type {any} */ high) => loadBounds(low, high) },
      },
      axes: [
        {
          size: 0,
          stroke: () => ink.text,
          grid: rule,
          ticks: { show: false },
          values: (/** @type {any} */ _, /** @type {number[]} */ at) => at.map(() => ""),
          splits: (/** @type {any} */ _, /** @type {any} */ __, /** @type {number} */ from, /** @type {number} */ to) =>
            everyFive(from, to),
        },
        {
          size: 44,
          gap: 8,
          stroke: () => ink.text,
          font: ink.font,
          grid: rule,
          ticks: { show: false },
          // A row is low: its two ends say the scale.
          splits: (/** @type {any} */ _, /** @type {any} */ __, /** @type {number} */ low, /** @type {number} */ high) => [low, high],
          values: (/** @type {any} */ _, /** @type {number[]} */ at) => at.map((n) => number(n)),
        },
      ],
      series: [{}, { stroke: () => ink.line, width: 1.25, points: { show: false } }],
    },
    [[], []],
    host,
  );
  const watch = new ResizeObserver(() =>
    plot.setSize({ width: Math.max(1, host.clientWidth), height: Math.max(1, host.clientHeight) }),
  );
  watch.observe(host);
  return {
    readInk,
    /** A slow board gets fewer bins, not gaps. @param {Trace} trace @param {number} to_s */
    draw(trace, to_s) {
      const columns = Math.max(10, host.clientWidth - 44);
      const bins = Math.max(10, Math.min(columns, Math.floor((SPAN_S * trace.rate_hz) / 2) || columns));
      const { t_s, y } = decimate(trace.t_s, trace.columns[column], to_s - SPAN_S, to_s, bins);
      plot.batch(() => {
        plot.setData([t_s, y], false);
        plot.setScale("x", { min: to_s - SPAN_S, max: to_s });
      });
    },
    destroy() {
      watch.disconnect();
      plot.destroy();
    },
  };
}

function everyFive(/** @type {number} */ from_s, /** @type {number} */ to_s) {
  const first = Math.ceil(from_s / 5);
  return Array.from({ length: Math.floor(to_s / 5) - first + 1 }, (_, i) => 5 * (first + i));
}
