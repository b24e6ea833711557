/** Hand load against setback of all of today's sweeps over each other, front of the bicycle on the right. */
import { el, svg } from "../../dom.js";
import { number } from "../../format.js";
import { linear, ticks, Z_95 } from "../../scales.js";

const [WIDTH, HEIGHT] = [640, 340];
const FRAME = { left: 46, right: WIDTH - 12, top: 34, bottom: HEIGHT - 46 };
/** Told apart by mark and dash, not by colour alone. */
const MARKS = ["M-5,0A5,5 0 1 0 5,0A5,5 0 1 0 -5,0Z", "M-5,-5H5V5H-5Z", "M0,-6L6,5H-6Z", "M0,-6L6,0L0,6L-6,0Z"];
const DASHES = ["none", "7 4", "2 3", "10 3 2 3"];

/** @param {any} evidence the daemon's, of this visit @returns {SVGSVGElement} */
export function overlay({ sweeps, window_mm, present_mm, chosen_mm }) {
  const points = sweeps.flatMap((/** @type {any} */ sweep) => sweep.steps);
  const loads = points.map((/** @type {any} */ step) => step.hand_load_n);
  const places = [...points.map((/** @type {any} */ step) => step.setback_mm), present_mm, chosen_mm].filter(
    (mm) => typeof mm === "number",
  );
  const [rear, front] = [Math.max(...places) + 3, Math.min(...places) - 3];
  const spread = Math.max(10, Math.max(...loads) - Math.min(...loads));
  const [low, high] = [Math.min(...loads) - 0.2 * spread, Math.max(...loads) + 0.2 * spread];
  const x = linear([rear, front], [FRAME.left, FRAME.right]);
  const y = linear([low, high], [FRAME.bottom, FRAME.top]);
  return svg(
    "svg",
    { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, class: "overlay", role: "img", "aria-label": inWords(sweeps) },
    ...axes(x, y, [rear, front], [low, high]),
    ...(window_mm ? band(window_mm, x) : []),
    ...place(present_mm, "was", x),
    ...place(chosen_mm, "new", x),
    ...sweeps.flatMap((/** @type {any} */ sweep, /** @type {number} */ k) => curve(sweep, k % MARKS.length, x, y)),
  );
}

/** Which mark and line is which sweep. @param {any[]} sweeps */
export function legend(sweeps) {
  return el(
    "ul",
    { class: "legend" },
    ...sweeps.map(({ name }, /** @type {number} */ i) => {
      const k = i % MARKS.length;
      const sample = svg(
        "svg",
        { viewBox: "-22 -8 44 16", class: `overlay k${k}`, "aria-hidden": "true" },
        svg("path", { class: "fit", "stroke-dasharray": DASHES[k], d: "M-22,0H22" }),
        svg("path", { class: "dot", d: MARKS[k] }),
      );
      return el("li", {}, /** @type {any} */ (sample), name);
    }),
  );
}

function inWords(/** @type {any[]} */ sweeps) {
  const named = sweeps.map(
    ({ name, onset }) => `${name}: ${onset?.onset_mm ? `onset ${number(onset.onset_mm, 1)} mm` : "no onset named"}`,
  );
  return `Hand load against setback. ${named.join("; ")}`;
}

/** @typedef {import("../../scales.js").Scale} Scale */

function axes(
  /** @type {Scale} */ x,
  /** @type {Scale} */ y,
  /** @type {number[]} */ [rear, front],
  /** @type {number[]} */ [low, high],
) {
  const { left, right, top, bottom } = FRAME;
  const text = (/** @type {number} */ px, /** @type {number} */ py, /** @type {string} */ anchor, words = "") =>
    svg("text", { x: px, y: py, "text-anchor": anchor }, words);
  return [
    ...ticks(low, high, 7).flatMap((n) => [
      svg("line", { class: "grid", x1: left, x2: right, y1: y(n), y2: y(n) }),
      text(left - 6, y(n) + 4, "end", number(n)),
    ]),
    svg("path", { class: "axis", d: `M${left},${bottom}H${right}` }),
    ...ticks(front, rear, 9).map((mm) => text(x(mm), bottom + 18, "middle", number(mm))),
    text(left, HEIGHT - 8, "start", "◀ rearward"),
    text((left + right) / 2, HEIGHT - 8, "middle", "setback, mm behind the BB"),
    text(right, HEIGHT - 8, "end", "forward ▶"),
    text(4, top - 20, "start", "hand load, N (bars 95 %)"),
  ];
}

function band(/** @type {[number, number]} */ [front, rear], /** @type {Scale} */ x) {
  const { top, bottom } = FRAME;
  return [svg("rect", { class: "window", x: x(rear), y: top, width: x(front) - x(rear), height: bottom - top })];
}

function place(/** @type {number|null} */ mm, /** @type {string} */ name, /** @type {Scale} */ x) {
  if (typeof mm !== "number") return [];
  const { top, bottom } = FRAME;
  return [
    svg("line", { class: `place ${name}`, x1: x(mm), x2: x(mm), y1: top, y2: bottom }),
    svg("text", { x: x(mm), y: top - 4, "text-anchor": "middle" }, `${name} ${number(mm)}`),
  ];
}

function curve(
  /** @type {any} */ { steps, line },
  /** @type {number} */ k,
  /** @type {Scale} */ x,
  /** @type {Scale} */ y,
) {
  const parts = [];
  if (line) {
    const d = line.setback_mm.map((/** @type {number} */ mm, /** @type {number} */ i) => {
      return `${i ? "L" : "M"}${x(mm)},${y(line.hand_load_n[i])}`;
    });
    parts.push(svg("path", { class: "fit", "stroke-dasharray": DASHES[k], d: d.join("") }));
  }
  for (const { setback_mm, hand_load_n, se_n } of steps) {
    const px = x(setback_mm);
    if (se_n !== null)
      parts.push(svg("path", { class: "bar", d: `M${px},${y(hand_load_n - Z_95 * se_n)}V${y(hand_load_n + Z_95 * se_n)}` }));
    parts.push(svg("path", { class: "dot", d: MARKS[k], transform: `translate(${px},${y(hand_load_n)})` }));
  }
  return [svg("g", { class: `k${k}` }, ...parts)];
}
