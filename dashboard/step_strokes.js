/**
 * The strokes of one step as a picture, as words and as a table: those in the mean filled, those left out crossed.
 *
 * @typedef {{t_s: number, hands_n: number, torque_nm: number|null, cadence_rpm: number, left_out: string}} Told
 * @typedef {{t_s: number, hands_n: number, half_n: number}} Read a reading typed from a scale
 * @typedef {{hand_load_n: number, se_n: number|null, strokes: Told[], readings: Read[]}} Step
 */
import { el, svg } from "./dom.js";
import { counted, newtonMetres, number, seconds } from "./format.js";
import { linear, ticks, Z_95 } from "./scales.js";

const [WIDTH, HEIGHT, LEFT] = [300, 96, 36];

/** Load over time, with the mean and its 95 %. @param {Step} step */
export function strokeStrip({ strokes, readings, hand_load_n, se_n }) {
  const half = Z_95 * (se_n ?? 0);
  const marks = [...strokes, ...readings.map((one) => ({ ...one, left_out: "" }))];
  const all = [...marks.map((one) => one.hands_n), hand_load_n - half, hand_load_n + half];
  const [low, high] = [Math.min(...all), Math.max(...all)];
  const y = linear([low, Math.max(high, low + 1)], [HEIGHT - 22, 10]);
  const x = linear([0, Math.max(1, ...marks.map((one) => one.t_s))], [LEFT + 6, WIDTH - 8]);
  const end = Math.max(1, ...marks.map((one) => one.t_s));
  return svg(
    "svg",
    { viewBox: `0 0 ${WIDTH} ${HEIGHT}` },
    svg("rect", { class: "mean-band", x: LEFT, width: WIDTH - LEFT, y: y(hand_load_n + half), height: Math.max(1, y(hand_load_n - half) - y(hand_load_n + half)) }),
    svg("path", { class: "mean-line", d: `M${LEFT},${y(hand_load_n)}H${WIDTH}` }),
    svg("path", { class: "axis", d: `M${LEFT},${HEIGHT - 17}H${WIDTH}` }),
    ...ticks(low, Math.max(high, low + 1), 3).map((n) => svg("text", { x: LEFT - 6, y: y(n) + 4, "text-anchor": "end" }, number(n))),
    svg("text", { x: LEFT, y: HEIGHT - 2 }, "0"),
    svg("text", { x: WIDTH, y: HEIGHT - 2, "text-anchor": "end" }, seconds(end)),
    ...marks.map((one) => {
      const at = `translate(${x(one.t_s)},${y(one.hands_n)})`;
      return one.left_out
        ? svg("path", { class: "stroke-out", d: "M-4,-4L4,4M-4,4L4,-4", transform: at })
        : svg("circle", { class: "stroke-used", r: 2.6, transform: at });
    }),
  );
}

/** How many are in the mean, and of those that are not how many for each reason. @param {Step} step */
export function usedWords({ strokes, readings }) {
  if (readings.length) return { used: `${counted(readings.length, "reading")} of the scale, all used.`, left_out: [] };
  const out = strokes.filter((one) => one.left_out);
  const reasons = [...new Set(out.map((one) => one.left_out))];
  return {
    used: `${counted(strokes.length - out.length, "stroke")} used, ${out.length ? number(out.length) : "none"} left out${out.length ? ":" : "."}`,
    left_out: reasons.map((why) => {
      const own = out.filter((one) => one.left_out === why);
      return `${number(own.length)}, ${why}: at ${own.map((one) => number(one.t_s)).join(", ")} s`;
    }),
  };
}

/** @param {Step} step */
export function strokeTable({ strokes, readings }) {
  const head = readings.length ? ["Time, s", "Hand load, N", "± of the display, N"] : ["Time, s", "Hand load, N", "Torque", "Cadence, rpm", "In the mean"];
  const rows = readings.length
    ? readings.map((one) => [number(one.t_s, 1), number(one.hands_n, 1), number(one.half_n, 1)])
    : strokes.map((one) => [number(one.t_s, 1), number(one.hands_n, 1), one.torque_nm === null ? "unknown" : newtonMetres(one.torque_nm), number(one.cadence_rpm), one.left_out || "yes"]);
  return el(
    "table",
    {},
    el("thead", {}, el("tr", {}, ...head.map((text) => el("th", { scope: "col" }, text)))),
    el("tbody", {}, ...rows.map((cells) => el("tr", {}, ...cells.map((text) => el("td", {}, text))))),
  );
}
