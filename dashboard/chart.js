/**
 * The onset chart: hand load against setback as SVG, with the rail of planned positions under it on the same scale.
 *
 * The front of the bicycle is on the right, as everywhere on the page: setback falls from left to right, so the
 * saddle coming forward reads from left to right. Triangles point the way the saddle was moving.
 *
 * @typedef {import("./state.js").State} State
 * @typedef {import("./state.js").Step} Step
 * @typedef {import("./scales.js").Scale} Scale
 * @typedef {{left: number, right: number, top: number, bottom: number, rail: number, width: number,
 *   height: number}} Frame where things are, px
 */
import { svg } from "./dom.js";
import { counted, day, millimetres, newtonsFine, number, roundedBack } from "./format.js";
import { edges, onsetBand, onsetName } from "./onset_band.js";
import { rail } from "./rail.js";
import { direction, linear, loadSpan, setbackSpan, ticks, Z_95 } from "./scales.js";
import { behind } from "./state.js";
import { goesByAnotherDay, isNamed } from "./answer_words.js";

const TRIANGLES = "▶ coming forward\u2003◁ going back";
const TRIANGLES_SHORT = "▶ forward\u2003◁ back";
/** A chart lower than this and as wide as that says in its head what else stands below it, px. */
const [LOW, WIDE] = [260, 440];
/** From which width the day of the sweep behind fits beside the long names, px. */
const ROOMY = 560;

/** @param {State} state @param {number} width @param {number} height px */
function scalesOf(state, width, height) {
  const frame = { left: 58, right: width - 24, top: 30, ...feet(width, height), width, height };
  const x = linear(setbackSpan(state), [frame.left, frame.right]);
  const y = linear(loadSpan(state), [frame.bottom, frame.top]);
  return { frame, x, y };
}

/** @param {number} width @param {number} height px */
const isLow = (width, height) => height < LOW && width >= WIDE;

/** Where the plot ends and where the rail lies. @param {number} width @param {number} height px */
const feet = (width, height) => (isLow(width, height) ? { bottom: height - 60, rail: height - 28 } : { bottom: height - 78, rail: height - 46 });

/** The steps as points to be pointed at. @param {State} state @param {number} width @param {number} height px */
export function chartPoints(state, width, height) {
  const { x, y } = scalesOf(state, width, height);
  return state.steps.map(({ index, setback_mm, hand_load_n, strokes, excluded }) => ({
    path: `sweep/steps/${index}`,
    px: x(setback_mm),
    py: y(hand_load_n),
    name: `Step ${number(index + 1)}`,
    words: `Step ${number(index + 1)}, ${millimetres(setback_mm)}: ${newtonsFine(hand_load_n)}, ${counted(strokes, "stroke")} used, ${number(excluded)} left out`,
  }));
}

/** The drawing itself; a sentence says the same to screen readers. @param {State} state @param {number} width @param {number} height px @returns {SVGSVGElement} */
export function onsetChart(state, width, height) {
  const { frame, x, y } = scalesOf(state, width, height);
  const drawing = svg(
    "g",
    { "aria-hidden": "true" },
    ...grid(frame, x, y, setbackSpan(state), loadSpan(state)),
    ...names(frame, state.steps.length ? behind(state)?.on : null),
    ...ghostly(state, frame, x, y),
    ...answer(state, frame, x),
    ...density(state, frame, x),
    ...loadedChance(state, frame, x),
    ...fittedLine(state, x, y),
    ...state.steps.flatMap((step, i) =>
      point(step, direction(state.sweep?.planned_mm ?? [], step.index), x, y, i === state.steps.length - 1),
    ),
    ...pains(state, frame, x),
    ...rail(state, frame, x),
  );
  return svg("svg", { viewBox: `0 0 ${width} ${height}`, width, height, class: "onset-chart" }, drawing);
}

function grid(
  /** @type {Frame} */ f,
  /** @type {Scale} */ x,
  /** @type {Scale} */ y,
  /** @type {number[]} */ [rear, front],
  /** @type {number[]} */ [low, high],
) {
  const rows = ticks(low, high, Math.max(4, Math.floor((f.bottom - f.top) / 28)));
  const columns = ticks(front, rear, Math.max(4, Math.floor((f.right - f.left) / 60)));
  return [
    ...rows.flatMap((n) => [
      svg("line", { class: "grid", x1: f.left, x2: f.right, y1: y(n), y2: y(n) }),
      svg(
        "text",
        { class: "tick", x: f.left - 10, y: y(n), "text-anchor": "end", "dominant-baseline": "central" },
        number(n),
      ),
    ]),
    svg("line", { class: "axis", x1: f.left, x2: f.right, y1: f.bottom, y2: f.bottom }),
    ...columns.flatMap((mm) => [
      svg("line", { class: "axis", x1: x(mm), x2: x(mm), y1: f.bottom, y2: f.bottom + 6 }),
      svg("text", { class: "tick", x: x(mm), y: f.rail + 22, "text-anchor": "middle" }, number(mm)),
    ]),
  ];
}

/** What the axes show, and in grey which day the sweep behind is of. @param {Frame} f @param {string|null|undefined} ghost_on */
function names(f, ghost_on) {
  const [low, close] = [isLow(f.width, f.height), Boolean(ghost_on) && f.width < ROOMY];
  const of_load = low || close ? "hand load, N" : "hand load, N (bars 95 %)";
  const of_setback = low ? "setback, mm\u2003" : "";
  const head = [
    svg("text", { class: "axis-name", x: f.left - 46, y: 13 }, of_load, ...(ghost_on ? [svg("tspan", { class: "ghost-name", dx: 14 }, `○ ${day(ghost_on)}`)] : [])),
    svg("text", { class: "axis-name", x: f.right, y: 13, "text-anchor": "end" }, of_setback + (close ? TRIANGLES_SHORT : TRIANGLES)),
  ];
  if (low) return head;
  return [
    ...head,
    svg("text", { class: "axis-name", x: f.left, y: f.height - 6 }, "◀ rearward"),
    svg(
      "text",
      { class: "axis-name", x: (f.left + f.right) / 2, y: f.height - 6, "text-anchor": "middle" },
      f.width < WIDE ? "setback, mm" : "setback, mm behind the BB",
    ),
    svg("text", { class: "axis-name", x: f.right, y: f.height - 6, "text-anchor": "end" }, "forward ▶"),
  ];
}

/** Band, onset and suggested setback: only when an onset may be named. */
function answer(/** @type {State} */ { onset, sweep }, /** @type {Frame} */ f, /** @type {Scale} */ x) {
  if (!isNamed(onset)) return [];
  const parts = onsetBand(onset, x, f);
  const at = x(onset.onset_mm);
  const front = onset.interval_95_mm ? edges(onset.interval_95_mm, x, f)[1] : at;
  const beside = f.right - front > 120;
  parts.push(
    svg(
      "text",
      { class: "onset-name", x: beside ? front + 8 : at - 8, y: f.top + 10, "text-anchor": beside ? "start" : "end" },
      onsetName(onset),
    ),
  );
  // The suggestion lies rearward of the onset: its label goes below the onset's wherever both would be on one side.
  const apart = beside && (onset.suggested_setback_mm === null || roomBehind(x(onset.suggested_setback_mm), f));
  const top = apart ? f.top : f.top + 20;
  if (onset.suggested_setback_mm !== null) parts.push(...suggestion(onset.suggested_setback_mm, goesByAnotherDay(sweep) ? "today’s chance" : "suggested", { ...f, top }, x));
  return parts;
}

/** Whether the suggestion's label fits behind its mark. @param {number} at px @param {Frame} f */
const roomBehind = (at, f) => at - f.left > 130;

function suggestion(/** @type {number} */ mm, /** @type {string} */ name, /** @type {Frame} */ f, /** @type {Scale} */ x) {
  const at = x(mm);
  const inner = roomBehind(at, f);
  return [
    svg("line", { class: "suggested-line", x1: at, x2: at, y1: f.top + 16, y2: f.bottom }),
    svg("path", { class: "suggested", d: `M${at},${f.top + 16}l8,-9l-8,-9l-8,9z` }),
    svg(
      "text",
      {
        class: "suggested-name",
        x: inner ? at - 14 : at + 14,
        y: f.top + 7,
        "text-anchor": inner ? "end" : "start",
        "dominant-baseline": "central",
      },
      `${name} ${number(roundedBack(mm))}`,
    ),
  ];
}

/** Highest density shown, per mm: that of an onset known to 2.5 mm. A wider one is lower, with the same area. */
const FULL_PER_MM = 0.16;
/** How much of the chart's height the density takes. */
const DENSITY_SHARE = 0.45;

/** Where the onset may be, by this sweep alone: narrow and high once it is known. */
function density(/** @type {State} */ { onset }, /** @type {Frame} */ f, /** @type {Scale} */ x) {
  const told = onset?.likelihood;
  if (!told || told.log_l.length < 3) return [];
  const [light, loaded] = [Math.exp(told.log_light), Math.exp(told.log_loaded)];
  const mass = told.log_l.map(Math.exp);
  const all = mass.reduce((sum, each) => sum + each, 0) * told.step_mm + light + loaded;
  const high = (/** @type {number} */ each) => Math.min(1, each / all / FULL_PER_MM) * DENSITY_SHARE * (f.bottom - f.top);
  const at = mass.map((each, i) => `${x(told.rear_mm - i * told.step_mm)},${f.bottom - high(each)}`);
  const [rear, front] = [x(told.rear_mm), x(told.rear_mm - (mass.length - 1) * told.step_mm)];
  return [svg("path", { class: "density", d: `M${rear},${f.bottom}L${at.join("L")}L${front},${f.bottom}Z` })];
}

/** The chance that the hands already carry more, from none at the axis to certain at the top. */
function loadedChance(/** @type {State} */ { onset }, /** @type {Frame} */ f, /** @type {Scale} */ x) {
  const told = onset?.p_loaded_at ?? [];
  if (told.length < 3) return [];
  const y = (/** @type {number} */ p) => f.bottom - p * (f.bottom - f.top);
  const d = told.map(([mm, p], i) => `${i ? "L" : "M"}${x(mm)},${y(p)}`).join("");
  return [svg("path", { class: "loaded-chance", d })];
}

/** A cross above the axis: where it hurt or went numb. @param {number} x @param {number} bottom */
export const painMark = (x, bottom) => svg("path", { class: "pain-mark", d: `M${x - 5},${bottom - 14}l10,10m0,-10l-10,10` });

/** The crosses with how much it hurt. */
function pains(/** @type {State} */ { sweep }, /** @type {Frame} */ f, /** @type {Scale} */ x) {
  return (sweep?.pains ?? []).flatMap(({ setback_mm, score }) => {
    if (setback_mm === null) return [];
    return [
      painMark(x(setback_mm), f.bottom),
      svg("text", { class: "pain-name", x: x(setback_mm) + 9, y: f.bottom - 5 }, `pain ${number(score)}`),
    ];
  });
}

/** What was ridden before this sweep, as far as it lies within the axes; its day stands in the head. */
function ghostly(/** @type {State} */ state, /** @type {Frame} */ f, /** @type {Scale} */ x, /** @type {Scale} */ y) {
  const [ghost, steps] = [behind(state), state.steps];
  if (!ghost || !steps.length) return [];
  const [rear, front] = setbackSpan(state);
  const inside = (/** @type {number} */ mm) => mm <= rear && mm >= front;
  const line = ghost.line?.setback_mm.flatMap((mm, i) => (inside(mm) ? [`${x(mm)},${y(ghost.line?.hand_load_n[i] ?? NaN)}`] : [])) ?? [];
  return [
    ...(line.length > 1 ? [svg("path", { class: "ghost", d: `M${line.join("L")}` })] : []),
    ...ghost.steps.filter((step) => inside(step.setback_mm)).map((step) => svg("circle", { class: "ghost", cx: x(step.setback_mm), cy: y(step.hand_load_n), r: 4 })),
  ];
}

function fittedLine(/** @type {State} */ { onset }, /** @type {Scale} */ x, /** @type {Scale} */ y) {
  const line = onset?.line;
  if (!line) return [];
  const d = line.setback_mm.map((mm, i) => `${i ? "L" : "M"}${x(mm)},${y(line.hand_load_n[i])}`).join("");
  return [svg("path", { class: isNamed(onset) ? "fit" : "fit unsure", d })];
}

function point(
  /** @type {Step} */ step,
  /** @type {string} */ way,
  /** @type {Scale} */ x,
  /** @type {Scale} */ y,
  /** @type {boolean} */ newest,
) {
  const [px, py] = [x(step.setback_mm), y(step.hand_load_n)];
  const tip = way === "forward" ? 1 : -1;
  const parts = [
    svg("path", { class: `point ${way}`, d: `M${px + 9 * tip},${py}L${px - 6 * tip},${py - 8}V${py + 8}Z` }),
  ];
  if (newest) parts.unshift(svg("circle", { class: "newest", cx: px, cy: py, r: 16 }));
  if (step.se_n !== null) {
    const [low, high] = [y(step.hand_load_n - Z_95 * step.se_n), y(step.hand_load_n + Z_95 * step.se_n)];
    parts.unshift(
      svg("path", { class: "error-bar", d: `M${px},${low}V${high}M${px - 6},${low}h12M${px - 6},${high}h12` }),
    );
  }
  return parts;
}
