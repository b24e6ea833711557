/**
 * What is set during a move: the requested numbers, what changes, and which of them the pedal confirms next. Pure.
 *
 * @typedef {import("./state.js").State} State
 * @typedef {{name: string, words: string, short: string, value_mm: number|null, change: string}} Part
 */
import { number } from "./format.js";

/** What a move sets, in the order in which the fitter does it. */
const PARTS = /** @type {const} */ ([
  ["setback_mm", "Setback, behind the BB", "Setback", "back", "forward"],
  ["saddle_height_mm", "Saddle height", "Height", "up", "down"],
  ["bar_x_mm", "Bar, ahead of the BB", "Bar", "ahead", "back"],
]);
/** A smaller change counts as none: a jig's scale cannot be read more finely. Common practice, no source. */
const SAME_MM = 0.5;

/**
 * Where saddle and bar go: what the daemon asks for at the setback entered. Null until it has answered for another
 * setback than the requested one: height and bar of the one may not be set at the other.
 * @param {State} state @returns {any}
 */
export function placeAsked({ sweep, entry_mm, beside }) {
  const target = sweep?.target ?? null;
  if (!target || entry_mm === null || entry_mm === target.setback_mm) return target;
  return beside?.setback_mm === entry_mm ? beside.placed : null;
}

/** The known parts of the position that is set; null where the daemon has not said yet. @param {State} state @returns {Part[]} */
export function parts(state) {
  const target = state.sweep?.target;
  if (!target || state.sweep?.state !== "moving") return [];
  const [there, before] = [placeAsked(state), placeBefore(state)];
  return PARTS.flatMap(([name, words, short, more, less]) => {
    const value_mm = name === "setback_mm" ? (state.entry_mm ?? target.setback_mm) : (state.corrections[name] ?? there?.[name] ?? null);
    if (typeof target[name] !== "number" && value_mm === null) return [];
    const was_mm = before?.[name];
    return [{ name, words, short, value_mm, change: change(value_mm, was_mm, more, less) + (name === "bar_x_mm" ? barUp(state, before) : "") }];
  });
}

/**
 * Where saddle and bar stand, as last confirmed: after a redo or a rest that is the requested place, and not the last
 * step's. After an undo the last step's; null before the first. @param {State} state @returns {any}
 */
export function placeBefore({ steps, sweep }) {
  return sweep?.set ?? steps.at(-1)?.setting ?? null;
}

function change(/** @type {number|null} */ to_mm, /** @type {number|null|undefined} */ from_mm, /** @type {string} */ more, /** @type {string} */ less) {
  if (to_mm === null || typeof from_mm !== "number") return "";
  const by_mm = to_mm - from_mm;
  return Math.abs(by_mm) < SAME_MM ? "stays" : `${number(Math.abs(by_mm))} ${by_mm > 0 ? more : less}`;
}

function barUp(/** @type {State} */ state, /** @type {any} */ before) {
  const to_mm = state.corrections.bar_y_mm ?? placeAsked(state)?.bar_y_mm;
  if (typeof to_mm !== "number" || typeof before?.bar_y_mm !== "number") return "";
  const said = change(to_mm, before.bar_y_mm, "up", "down");
  return said === "stays" ? "" : `, ${said}`;
}

/** The part the next press confirms when each is confirmed separately; null when one press confirms all. @param {State} state */
export function partToTick(state) {
  if (state.sweep?.state !== "moving" || !state.settings?.one_by_one) return null;
  const all = parts(state);
  return state.ticked < all.length - 1 ? all[state.ticked] : null;
}

/** What a move sets beside the setback, by the field names of a setting. */
const BESIDE = /** @type {const} */ (["saddle_height_mm", "bar_x_mm", "bar_y_mm"]);

/**
 * What is sent with the confirmation: an empty object means that height and bar are as the daemon asks for. At another
 * setback than the requested one what the card showed is what was set.
 * @param {State} state
 */
export function confirmed(state) {
  const { sweep, corrections, entry_mm } = state;
  const target = sweep?.target;
  if (!target || entry_mm === target.setback_mm) return target ? corrections : null;
  const there = placeAsked(state);
  const shown = BESIDE.flatMap((name) => (typeof there?.[name] === "number" ? [[name, there[name]]] : []));
  return { ...Object.fromEntries(shown), ...corrections };
}

/** The setback the jig reads by itself; null without a sensor, or where the fitter has entered one. @param {State} state */
export function readSetback({ sweep, entered }) {
  const read_mm = sweep?.target && !entered ? sweep.measured?.setback_mm : undefined;
  return read_mm ?? null;
}
