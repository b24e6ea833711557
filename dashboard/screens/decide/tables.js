/** The tables a decision rests on: signs, disturbers, places on the own bicycle, sweeps. */
import { el } from "../../dom.js";
import { millimetres, number, range } from "../../format.js";

function table(
  /** @type {string} */ caption,
  /** @type {string[]} */ head,
  /** @type {{stands?: string, cells: string[]}[]} */ rows,
) {
  return el(
    "table",
    { class: "evidence" },
    el("caption", {}, caption),
    el("thead", {}, el("tr", {}, ...head.map((text) => el("th", { scope: "col" }, text)))),
    el(
      "tbody",
      {},
      ...rows.map(({ stands, cells: [first, ...rest] }) =>
        el(
          "tr",
          { "data-stands": stands },
          el("th", { scope: "row" }, first),
          ...rest.map((text, i) => el("td", {}, i === 0 && stands ? el("span", { class: "stands" }, text) : text)),
        ),
      ),
    ),
  );
}

/** @param {any[]} signs */
export function signTable(signs) {
  const rows = signs.map(({ title, stands, number: figure, why }) => ({ stands, cells: [title, stands, figure, why] }));
  return table("Signs that the saddle is too far back", ["Sign", "Speaks", "Number", "Because"], rows);
}

/** @param {any[]} disturbers */
export function disturberTable(disturbers) {
  const rows = disturbers.map(({ title, disturbs, said }) => ({ stands: disturbs, cells: [title, disturbs, said] }));
  return table("What else could have made it: see to these first", ["What", "State", "Found"], rows);
}

/** @param {any[]} places */
export function placeTable(places) {
  const rows = places.map(({ setback_mm, front_share, hands_off_deficit_nm }) => ({
    cells: [millimetres(setback_mm), estimate(front_share, 100, "%", 1), estimate(hands_off_deficit_nm, 1, "N\u202fm", 0)],
  }));
  return table("On the client’s own bicycle", ["Setback", "On the front wheel", "Moment the hands still hold"], rows);
}

function estimate(
  /** @type {any} */ { value, low, high, why_not },
  /** @type {number} */ factor,
  /** @type {string} */ unit,
  /** @type {number} */ digits,
) {
  if (value === null) return `not available: ${why_not}`;
  return `${number(factor * value, digits)}\u00a0${unit}, 95 % ${range([factor * low, factor * high], unit, digits)}`;
}

/** @param {any[]} sweeps */
export function sweepTable(sweeps) {
  const rows = sweeps.map(({ name, gradient_pct, onset, steps, state }) => ({
    cells: [
      name,
      `${number(gradient_pct, 1)}\u00a0%`,
      onset?.onset_mm ? `${number(onset.onset_mm, 1)}\u00a0mm, 95 % ${range(onset.interval_95_mm, "mm", 1)}` : (onset?.verdict ?? "–"),
      `${steps.length}, ${state}`,
      scores(steps),
    ],
  }));
  return table("Today’s sweeps", ["Sweep", "Gradient", "Onset", "Steps", "Rider’s scores, rear to front"], rows);
}

/** The rider's scores from the rear to the front: never averaged into the curve, always beside it. */
function scores(/** @type {any[]} */ steps) {
  const ordered = [...steps].sort((a, b) => b.setback_mm - a.setback_mm);
  return ["hands", "saddle", "effort"]
    .filter((name) => ordered.some((step) => step.notes[name] !== undefined))
    .map((name) => `${name} ${ordered.map((step) => number(step.notes[name])).join(" ")}`)
    .join("; ");
}
