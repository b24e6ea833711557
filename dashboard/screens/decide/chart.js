/**
 * Hand load against setback of the day's sweeps, the place the client rides at, the marker of the setback to choose, and
 * under it the chance that the hands already carry more. Drawn in pixels, so that its words have one size everywhere.
 */
import { painMark } from "../../chart.js";
import { el, svg } from "../../dom.js";
import { millimetres, newtonsFine, number, range } from "../../format.js";
import { bandKey, edges, onsetBand, onsetName } from "../../onset_band.js";
import { linear, ticks, Z_95 } from "../../scales.js";
import { isNamed } from "../../answer_words.js";

/** Distinguished by mark and dash, not by colour alone. */
const MARKS = ["M-5,0A5,5 0 1 0 5,0A5,5 0 1 0 -5,0Z", "M-5,-5H5V5H-5Z", "M0,-6L6,5H-6Z", "M0,-6L6,0L0,6L-6,0Z"];
const DASHES = ["none", "7 4", "2 3", "10 3 2 3"];
/** Height of the strip of chances, px. */
const STRIP = 44;
/** The widest name on the axis, with the air beside it, px. */
const NAME = 92;
/** How far over the axis a name stands: above the crosses of pain and the bracket, px. */
const NAME_UP = 18;

/** @typedef {import("../../scales.js").Scale} Scale */
/** @typedef {{left: number, right: number, top: number, bottom: number, strip: number, width: number, height: number}} Frame */

/** Rearmost and foremost setback that can be chosen. @param {any} found @returns {[number, number]} */
export function ends({ options }) {
  const all = options.map((/** @type {any} */ each) => each.place.setback_mm);
  return [Math.max(...all), Math.min(...all)];
}

/** @param {any} found the evidence @param {any} days what is foretold of another day @param {number} width @param {number} height */
export function chart(found, days, width, height) {
  /** @type {Frame} */
  const f = { left: 44, right: width - 18, top: 44, bottom: height - STRIP - 62, strip: height - 42, width, height };
  const loads = found.sweeps.flatMap((/** @type {any} */ sweep) => sweep.steps.map((/** @type {any} */ step) => step.hand_load_n));
  const spread = Math.max(10, Math.max(...loads) - Math.min(...loads));
  /** @type {[number, number]} */
  const span = [Math.min(...loads) - 0.2 * spread, Math.max(...loads) + 0.15 * spread];
  const x = linear(ends(found), [f.left, f.right]);
  const y = linear(span, [f.bottom, f.top]);
  const drawing = svg(
    "g",
    { "aria-hidden": "true" },
    ...axes(f, x, y, ends(found), span),
    ...answer(found, f, x),
    ...chances(found, days, f, x),
    ...present(found.present_mm, f, x, named(found)?.interval_95_mm?.[0] ?? null),
    ...pains(found.sweeps, f, x),
    ...found.sweeps.flatMap((/** @type {any} */ sweep, /** @type {number} */ k) => curve(sweep, k % MARKS.length, x, y)),
  );
  return { node: svg("svg", { viewBox: `0 0 ${width} ${height}`, width, height, class: "overlay" }, drawing), x, y, frame: f };
}

/** The steps of all sweeps as points to be pointed at. @param {any} found @param {{x: Scale, y: Scale}} scales */
export function chartPoints({ sweeps }, { x, y }) {
  return sweeps.flatMap((/** @type {any} */ { sweep_id, name, steps }) =>
    steps.map((/** @type {any} */ { setback_mm, hand_load_n }, /** @type {number} */ i) => ({
      path: `visit/sweeps/${sweep_id}/steps/${i}`,
      px: x(setback_mm),
      py: y(hand_load_n),
      name: `${name}, step ${number(i + 1)}`,
      words: `${name}, step ${number(i + 1)}, ${millimetres(setback_mm)}: ${newtonsFine(hand_load_n)}`,
    })),
  );
}

/** Which mark and line is which sweep, where there are several, and what band and bracket show. @param {any} found */
export function legend(found) {
  const { sweeps, window_mm } = found;
  const onset = named(found);
  const several = sweeps.length > 1 ? sweeps : [];
  const items = several.map((/** @type {any} */ { name }, /** @type {number} */ i) => {
    const k = i % MARKS.length;
    const sample = svg(
      "svg",
      { viewBox: "-22 -8 44 16", class: `overlay k${k}`, "aria-hidden": "true" },
      svg("path", { class: "fit", "stroke-dasharray": DASHES[k], d: "M-22,0H22" }),
      svg("path", { class: "dot", d: MARKS[k] }),
    );
    return el("li", {}, sample, name);
  });
  if (onset?.interval_95_mm) items.push(el("li", {}, bandKey(), `95 % interval ${range(onset.interval_95_mm, "mm", 1)}`));
  if (window_mm) items.push(el("li", {}, svg("svg", { viewBox: "-22 -8 44 16", class: "overlay", "aria-hidden": "true" }, svg("path", { class: "window", d: "M-14,-5V4H14V-5" })), "to choose from"));
  return items.length ? [el("ul", { class: "legend" }, ...items)] : [];
}

/** The chart in words, for screen readers. @param {any[]} sweeps */
export function inWords(sweeps) {
  const named = sweeps.map(({ name, onset }) => `${name}: ${onset?.onset_mm ? `onset ${number(onset.onset_mm)} mm` : "no onset named"}`);
  return `Hand load against setback. ${named.join("; ")}`;
}

const text = (/** @type {number} */ px, /** @type {number} */ py, /** @type {string} */ anchor, words = "", name = "") =>
  svg("text", { x: px, y: py, "text-anchor": anchor, class: name || null }, words);

function axes(/** @type {Frame} */ f, /** @type {Scale} */ x, /** @type {Scale} */ y, /** @type {[number, number]} */ [rear, front], /** @type {[number, number]} */ [low, high]) {
  return [
    ...ticks(low, high, 6).flatMap((n) => [
      svg("line", { class: "grid", x1: f.left, x2: f.right, y1: y(n), y2: y(n) }),
      text(f.left - 8, y(n) + 5, "end", number(n)),
    ]),
    svg("path", { class: "axis", d: `M${f.left},${f.bottom}H${f.right}` }),
    ...ticks(front, rear, Math.max(3, Math.floor((f.right - f.left) / 60))).flatMap((mm) => [
      svg("path", { class: "axis", d: `M${x(mm)},${f.bottom}v5` }),
      text(x(mm), f.strip + 18, "middle", number(mm)),
    ]),
    text(f.left, f.height - 4, "start", "◀ rearward"),
    f.width > 520 ? text((f.left + f.right) / 2, f.height - 4, "middle", "setback, mm behind the bottom bracket") : null,
    text(f.right, f.height - 4, "end", "forward ▶"),
    text(2, 14, "start", "hand load, N", "load-name"),
  ].filter((node) => node !== null);
}

/** The onset's interval as on the run, its name below the curves; the window to choose from as a bracket on the axis. */
function answer(/** @type {any} */ found, /** @type {Frame} */ f, /** @type {Scale} */ x) {
  const onset = named(found);
  if (!onset) return [];
  const [, front] = onset.interval_95_mm ? edges(onset.interval_95_mm, x, f) : [0, x(onset.onset_mm)];
  return [...onsetBand(onset, x, f), text(front + 5, f.bottom - NAME_UP, "start", onsetName(onset), "onset-name"), ...bracket(found.window_mm, f, x)];
}

function bracket(/** @type {[number, number]|null} */ window_mm, /** @type {Frame} */ f, /** @type {Scale} */ x) {
  if (!window_mm) return [];
  const [rear, front] = edges(window_mm, x, f);
  return [svg("path", { class: "window", d: `M${rear},${f.bottom - 9}V${f.bottom}H${front}V${f.bottom - 9}` })];
}

/** The main sweep's answer if it names an onset. @param {any} found */
const named = ({ sweeps, main }) => sweeps.map((/** @type {any} */ each) => each.sweep_id === main && each.onset).find((/** @type {any} */ onset) => onset && isNamed(onset));

/** The chance today as a filled shape, on another day as a line over it. */
function chances(/** @type {any} */ found, /** @type {any} */ days, /** @type {Frame} */ f, /** @type {Scale} */ x) {
  const today = found.options.filter((/** @type {any} */ each) => each.p_loaded !== null).map((/** @type {any} */ each) => [each.place.setback_mm, each.p_loaded]);
  if (today.length < 2) return [];
  const p = linear([0, 1], [f.strip, f.strip - STRIP]);
  const line = (/** @type {[number, number][]} */ points) => points.map(([mm, chance], i) => `${i ? "L" : "M"}${x(mm)},${p(chance)}`).join("");
  const ordered = [...today].sort((a, b) => b[0] - a[0]);
  const another = (days?.chances ?? []).map((/** @type {any} */ each) => [each.setback_mm, each.another_day]).sort((/** @type {any} */ a, /** @type {any} */ b) => b[0] - a[0]);
  return [
    svg("path", { class: "chance", d: `${line(ordered)}V${f.strip}H${x(ordered[0][0])}Z` }),
    another.length > 1 ? svg("path", { class: "chance-another", d: line(another) }) : null,
    svg("path", { class: "axis", d: `M${f.left},${f.strip}H${f.right}` }),
    text(f.left - 8, f.strip - STRIP + 10, "end", "100 %", "small-word"),
    text(f.left - 8, f.strip + 2, "end", "0", "small-word"),
    text(f.left, f.strip - STRIP - 5, "start", f.width > 520 ? `chance that the hands already carry more: today${another.length > 1 ? " filled, another day dashed" : ""}` : "chance of more on the hands", "small-word"),
  ].filter((node) => node !== null);
}

/** Where it hurt or went numb: a cross on the axis; the words stand under the chart. @param {any[]} sweeps @param {Frame} f @param {Scale} x */
function pains(sweeps, f, x) {
  return sweeps
    .flatMap((each) => each.pains)
    .filter(({ setback_mm }) => setback_mm !== null)
    .map(({ setback_mm }) => painMark(x(setback_mm), f.bottom));
}

/** Where the client rides; its name stands a line higher where the onset's name is beside it. */
function present(/** @type {number|null} */ mm, /** @type {Frame} */ f, /** @type {Scale} */ x, /** @type {number|null} */ name_mm) {
  if (typeof mm !== "number") return [];
  const beside = name_mm !== null && Math.abs(x(mm) - x(name_mm)) < NAME;
  return [svg("line", { class: "place-now", x1: x(mm), x2: x(mm), y1: f.top, y2: f.bottom }), text(x(mm) + 5, f.bottom - NAME_UP - (beside ? 20 : 0), "start", `now ${number(mm)}`)];
}

function curve(/** @type {any} */ { steps, line, onset }, /** @type {number} */ k, /** @type {Scale} */ x, /** @type {Scale} */ y) {
  const parts = [];
  if (line) {
    const d = line.setback_mm.map((/** @type {number} */ mm, /** @type {number} */ i) => `${i ? "L" : "M"}${x(mm)},${y(line.hand_load_n[i])}`);
    // An answer without an onset draws its line as uncertain, as on the run.
    parts.push(svg("path", { class: onset?.onset_mm ? "fit" : "fit unsure", "stroke-dasharray": onset?.onset_mm ? DASHES[k] : "1 6", d: d.join("") }));
  }
  for (const { setback_mm, hand_load_n, se_n } of steps) {
    const px = x(setback_mm);
    if (se_n !== null) parts.push(svg("path", { class: "bar", d: `M${px},${y(hand_load_n - Z_95 * se_n)}V${y(hand_load_n + Z_95 * se_n)}` }));
    parts.push(svg("path", { class: "dot", d: MARKS[k], transform: `translate(${px},${y(hand_load_n)})` }));
  }
  return [svg("g", { class: `k${k}` }, ...parts)];
}
