/** A sweep beside itself with the calibration in use now: the same strokes, other newtons; the record stays as it is. */
import { look } from "../../commands.js";
import { refusal } from "../../barred.js";
import { el, setAttribute } from "../../dom.js";
import { millimetres, number, range } from "../../format.js";
import { asSentence } from "../../trade_words.js";

const COMPUTING_MS = 60_000;

/** @param {any[]} sweeps the evidence's @returns {HTMLElement} */
export function withCalibrationInUse(sweeps) {
  const shown = el("div", { role: "status" });
  const buttons = sweeps.map(({ sweep_id, name }) =>
    el("button", { type: "button", class: "small", onclick: () => void compute(sweep_id, name) }, `${name} with the calibration in use now`),
  );
  async function compute(/** @type {number} */ sweep_id, /** @type {string} */ name) {
    for (const each of buttons) setAttribute(each, "disabled", true);
    shown.replaceChildren("Computing it from its raw data …");
    const told = await look(`/api/v1/visit/sweeps/${sweep_id}/recalibrated`, undefined, COMPUTING_MS);
    for (const each of buttons) setAttribute(each, "disabled", null);
    shown.replaceChildren(...(told.steps ? beside(name, told) : refusal({ text: told.problem ?? "", see: told.see })));
  }
  return el("div", { class: "recalibrated" }, el("p", { class: "recalibrations" }, ...buttons), shown);
}

/** @param {any} one @returns {string} */
function answer(one) {
  if (!one) return "no answer";
  if (one.onset_mm === null) return one.verdict.replaceAll("-", " ");
  return `onset ${millimetres(one.onset_mm)}, 95 % ${range(one.interval_95_mm, "mm")}`;
}

/** @param {string} name @param {any} told @returns {(Node|string)[]} */
function beside(name, told) {
  if (told.same) return [`${name} was ridden with the calibration in use now, ${told.with}.`];
  const rows = told.steps.map((/** @type {any} */ { setback_mm, was_n, now_n }) =>
    el("tr", {}, el("th", { scope: "row" }, millimetres(setback_mm)), ...[was_n, now_n, now_n - was_n].map((n) => el("td", {}, number(n, 1)))),
  );
  const caution = told.now && told.now.onset_mm === null ? (told.now.reasons ?? []) : [];
  return [
    el("p", {}, `${name}: ${answer(told.was)} as ridden, with ${told.ridden_with ?? "a calibration that is not known"}; ${answer(told.now)} with ${told.with}.`),
    ...caution.map((/** @type {string} */ text) => el("p", { class: "note" }, asSentence(text))),
    el(
      "div",
      { class: "wide", tabindex: "0", role: "region", "aria-label": "Loads with both calibrations" },
      el("table", { class: "evidence" }, el("thead", {}, el("tr", {}, ...["Setback", "As ridden, N", "Now, N", "Difference, N"].map((text) => el("th", { scope: "col" }, text)))), el("tbody", {}, ...rows)),
    ),
  ];
}
