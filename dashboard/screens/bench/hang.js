/**
 * Where the weight hangs: the jig from its own geometry, its cells, and the weight under the cell it is for. The front
 * is on the right, as everywhere on the page; a tilt of the task tilts the picture.
 *
 * @typedef {import("../../messages.js").Drawn} Drawn
 * @typedef {{kg: number|null, load_n: number, over: string[], tilt_deg: number|null}} Task
 */
import { svg } from "../../dom.js";
import { newtons, number } from "../../format.js";

const VIEW = { width: 460, height: 300, margin: 30 };
/** Cells at one place stand beside each other, px. */
const BESIDE = 26;
const HANGS = 64;

/** @param {Drawn} drawn @param {Task|null} task @returns {SVGSVGElement} */
export function hanging(drawn, task) {
  const [bar, saddle] = [drawn.bar_mm, drawn.saddle_mm];
  const xs = [0, bar[0], saddle[0], ...drawn.cells.map((one) => one.x_mm)];
  const [left, right, top] = [Math.min(...xs) - 120, Math.max(...xs) + 120, Math.max(bar[1], saddle[1]) + 60];
  const k = Math.min((VIEW.width - 2 * VIEW.margin) / (right - left), (VIEW.height - 2 * VIEW.margin) / (top + 60));
  const x = (/** @type {number} */ mm) => VIEW.margin + (mm - left) * k;
  const y = (/** @type {number} */ mm) => VIEW.margin + (top - mm) * k;
  const places = drawn.cells.map(({ cell, x_mm, y_mm }, i) => {
    const same = drawn.cells.filter((one) => one.x_mm === x_mm && one.y_mm === y_mm);
    const nth = same.findIndex((one) => one.cell === drawn.cells[i].cell);
    return { cell, px: x(x_mm) + (nth - (same.length - 1) / 2) * BESIDE, py: y(y_mm) };
  });
  const over = places.filter(({ cell }) => task?.over.includes(cell));
  const jig = [
    svg("path", { class: "frame", d: `M${x(0)},${y(0)}L${x(saddle[0])},${y(saddle[1]) + 14}M${x(0)},${y(0)}L${x(bar[0])},${y(bar[1]) + 14}M${x(left + 60)},${y(-50)}H${x(right - 60)}M${x(0)},${y(0)}V${y(-50)}` }),
    svg("path", { class: "seat", d: `M${x(saddle[0]) - 62},${y(saddle[1]) + 10}q6,-12 40,-6l66,2q18,1 18,4z` }),
    svg("path", { class: "bar-end", d: `M${x(bar[0]) - 34},${y(bar[1]) + 10}H${x(bar[0]) + 34}` }),
    ...places.map(({ cell, px, py }) => svg("rect", { class: over.some((one) => one.cell === cell) ? "cell asked" : "cell", x: px - 8, y: py - 6, width: 16, height: 16, rx: 2 })),
    ...(task && task.load_n > 0 && over.length ? weight(over, task) : []),
  ];
  const tilt = task?.tilt_deg ?? 0;
  return svg(
    "svg",
    { viewBox: `0 0 ${VIEW.width} ${VIEW.height}`, class: "hanging", role: "img", "aria-label": inWords(task) },
    svg("g", { transform: `rotate(${-tilt} ${x(0)} ${y(0)})` }, ...jig),
  );
}

/** The weight on its hook, under the middle of the cells that carry it. */
function weight(/** @type {{px: number, py: number}[]} */ over, /** @type {Task} */ { kg, load_n }) {
  const px = over.reduce((sum, one) => sum + one.px, 0) / over.length;
  const py = Math.max(...over.map((one) => one.py)) + 10;
  return [
    svg("path", { class: "hook", d: `M${px},${py}V${py + HANGS}` }),
    svg("path", { class: "weight", d: `M${px - 34},${py + HANGS}H${px + 34}L${px + 42},${py + HANGS + 46}H${px - 42}Z` }),
    svg("text", { class: "weight-name", x: px, y: py + HANGS + 30, "text-anchor": "middle" }, kg === null ? newtons(load_n) : `${number(kg, kg < 10 && !Number.isInteger(kg) ? 1 : 0)} kg`),
  ];
}

/** @param {Task|null} task */
function inWords(task) {
  if (!task) return "The jig, nothing to hang";
  if (task.tilt_deg !== null) return `The empty jig, tilted by ${number(task.tilt_deg, 1)}°`;
  if (!task.load_n) return "The jig with all weight off";
  return `The weight hangs over ${task.over.map((cell) => cell.replaceAll("_", " ")).join(" and ")}`;
}
