/** The tables a decision rests on: signs, confounders, positions on the client's bicycle, sweeps. */
import { el } from "../../dom.js";
import { MISSING, millimetres, number, percent, range, withMinus } from "../../format.js";
import { Z_95 } from "../../scales.js";
import { saysCure } from "../../answer_words.js";

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
          ...rest.map((text, i) => el("td", {}, i === 0 && stands ? el("span", { class: "stands" }, text) : withMinus(text))),
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

/** @param {any[]} confounders */
export function confounderTable(confounders) {
  const rows = confounders.map(({ title, disturbs, said }) => ({ stands: disturbs, cells: [title, disturbs, said] }));
  return table("What else could have made it: see to these first", ["What", "State", "Found"], rows);
}

/** @param {any[]} places @param {string} com_height */
export function placeTable(places, com_height) {
  const rows = places.map(({ setback_mm, front_share, hands_off_deficit_nm }) => ({
    cells: [millimetres(setback_mm), estimate(front_share, 100, "%", 1), estimate(hands_off_deficit_nm, 1, "N\u202fm", 0)],
  }));
  return el(
    "div",
    {},
    table("On the client’s own bicycle", ["Setback", "On the front wheel", "Moment the hands still hold"], rows),
    ...(places[0]?.rests_on ? [el("p", { class: "note" }, `Both rest on this: ${places[0].rests_on}.`)] : []),
    el("p", { class: "note" }, `Height of the rider’s centre of mass over the BB: ${com_height}`),
  );
}

/** @param {any[]} sides */
export function sideTable(sides) {
  const rows = sides.map(({ first, second, over, trend, clear }) => ({
    cells: [
      `${named(first)} less ${named(second)}`,
      `${number(over.difference_n, 1)} ± ${number(Z_95 * over.u_difference_n, 1)}\u00a0N`,
      `${percent(over.fraction, 1)} ± ${percent(Z_95 * over.u_fraction, 1)}${clear ? "" : ", not clear"}`,
      trend,
    ],
  }));
  return table("Two cells of one load (± 95 %): a difference, not a diagnosis", ["Cells", "Difference", "Of their sum", "As the saddle goes back"], rows);
}

const named = (/** @type {string} */ cell) => cell.replaceAll("_", " ");

/** Every step with what else moved besides the setback, and the shape of the stroke. @param {any[]} steps */
export function stepTable(steps) {
  const pair = (/** @type {[number, number]|null} */ found, digits = 2) =>
    found ? `${number(found[0], digits)} ± ${number(Z_95 * found[1], digits)}` : "–";
  const ripple = (/** @type {any} */ found) => (found ? `${number(found.amplitude_n, 1)} ± ${number(Z_95 * found.u_n, 1)}` : "–");
  const share = (/** @type {any} */ shares, /** @type {string} */ name) =>
    shares ? `${number(100 * shares[name], 1)} ± ${number(100 * Z_95 * shares[`u_${name}`], 1)}` : "–";
  const spots = steps.some((step) => step.top_dead_spot_deg || step.bottom_dead_spot_deg);
  const head = [
    ...["Setback, mm", "Height, mm", "Reach, mm", "Drop, mm", "Seat angle, °", "Against gravity, mm"],
    ...["Hands, %", "Saddle, %", "Feet (remainder), %", "Saddle carries at, mm behind BB", "Torque, N\u202fm"],
    ...["Ripple hands, N", "Ripple saddle, N", "Top torque / mean", "Bottom torque / mean"],
    ...(spots ? ["Dead spot top, °", "bottom, °"] : []),
  ];
  const rows = steps.map((step) => ({
    cells: [
      number(step.setback_mm),
      plus(step.moved.height_change_mm),
      plus(step.reach_change_mm),
      plus(step.drop_change_mm),
      number(step.moved.seat_angle_deg, 1),
      number(step.moved.against_gravity_mm),
      ...["hands", "saddle", "feet"].map((name) => share(step.shares, name)),
      number(step.load_point_mm),
      step.torque_nm === null ? "unknown" : number(step.torque_nm, 1),
      ripple(step.hands_ripple),
      ripple(step.saddle_ripple),
      pair(step.top),
      pair(step.bottom),
      ...(spots ? [pair(step.top_dead_spot_deg, 0), pair(step.bottom_dead_spot_deg, 0)] : []),
    ],
  }));
  return table("Step by step; ± is 95 %. Height and seat angle by the plan, against the saddle as it came; reach and drop as set, against the first position", head, rows);
}

const plus = (/** @type {number|null} */ mm) => (typeof mm === "number" && mm >= 0.5 ? "+" : "") + number(mm);

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
      onset?.onset_mm ? `${number(onset.onset_mm, 1)}\u00a0mm, 95 % ${range(onset.interval_95_mm, "mm", 1)}` : (onset?.verdict.replace("-", " ") ?? "–"),
      `${steps.length}, ${state}`,
      scores(steps),
    ],
  }));
  return table("Sweeps", ["Sweep", "Gradient", "Onset", "Steps", "Rider’s scores, rear to front"], rows);
}

/** The rider's scores from the rear to the front: never averaged into the curve, always beside it. */
function scores(/** @type {any[]} */ steps) {
  const ordered = [...steps].sort((a, b) => b.setback_mm - a.setback_mm);
  return ["hands", "saddle", "effort"]
    .filter((name) => ordered.some((step) => step.notes[name] !== undefined))
    .map((name) => `${name} ${ordered.map((step) => number(step.notes[name])).join(" ")}`)
    .join("; ");
}

/** Every test of whether the sweep supports its answer; each cure once. @param {any[]} found @param {string} told above the table */
export function validityTable(found, told) {
  const rows = found.map(({ test, figure, ended, means, cure }, i) => {
    const same = found.slice(0, i).find((each) => each.cure === cure);
    const once = cure && saysCure(told, cure) ? "under the chart" : cure && same ? `as for ${same.test}` : cure;
    return {
      stands: ended,
      cells: [test, ended, figure || MISSING, means, once],
    };
  });
  return table("Whether the sweep can bear the answer", ["Test", "Result", "Found", "Means", "Cure"], rows);
}
