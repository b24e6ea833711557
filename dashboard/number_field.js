/**
 * A field for a number as people type it, with a point or a comma. A browser's own number field silently drops the sign
 * its language does not use, so that 1,5 becomes 15; here both are read, and anything that is not a number is reported.
 *
 * @typedef {{words: string, unit?: string, least?: number, most?: number, step?: number, required?: boolean}} Asked
 */
import { el } from "./dom.js";
import { asTyped, number } from "./format.js";

const NUMBER = /^[+\-\u2212]?(\d+([.,]\d*)?|[.,]\d+)$/;

/** A number as typed; NaN for an empty text and for anything that is not a number. @param {string} text */
export function parsed(text) {
  const said = text.trim();
  return NUMBER.test(said) ? Number(said.replace(",", ".").replace("\u2212", "-")) : NaN;
}

/** What is written in a field; NaN when it is empty or no number. @param {HTMLInputElement} input */
export const numberIn = (input) => parsed(input.value);

/** @param {HTMLInputElement} input @param {number|null} value */
export function writeNumber(input, value) {
  input.value = value === null ? "" : asTyped(value);
  input.dispatchEvent(new Event("check"));
}

/** Why a text is not valid as this number, in one sentence; empty if it is. @param {Asked} asked @param {string} text */
export function wrongWith(asked, text) {
  const { words, unit, least, most, step, required } = asked;
  const said = text.trim();
  if (said === "") return required ? `${words}: expected a number` : "";
  const value = parsed(said);
  const whole = step === 1 ? "a whole number" : "a number";
  const span = least === undefined || most === undefined ? "" : ` from ${bound(least)} to ${bound(most)}`;
  const inside = value >= (least ?? -Infinity) && value <= (most ?? Infinity);
  if (inside && (step !== 1 || Number.isInteger(value))) return "";
  const of = unit && /^[a-z°%]/i.test(unit) ? ` ${unit}` : "";
  return `${words}: expected ${whole}${span}${of}, got ${said.slice(0, 20)}`;
}

const bound = (/** @type {number} */ value) => number(value, (String(value).split(".")[1] ?? "").length);

/** @param {Asked} asked @param {Record<string, any>} attributes @returns {HTMLInputElement} */
export function numberInput(asked, attributes) {
  const { least = -Infinity, most = Infinity, step = 1, required } = asked;
  const input = /** @type {HTMLInputElement} */ (
    el("input", { type: "text", class: "number", inputmode: "decimal", autocomplete: "off", maxlength: 20, required, ...attributes })
  );
  const check = () => input.setCustomValidity(wrongWith(asked, input.value));
  input.addEventListener("input", check);
  input.addEventListener("check", check);
  input.addEventListener("keydown", (event) => {
    const by = { ArrowUp: step, ArrowDown: -step }[event.key];
    const value = numberIn(input);
    if (by === undefined || Number.isNaN(value)) return;
    event.preventDefault();
    input.value = asTyped(Math.min(most, Math.max(least, Math.round((value + by) * 1e6) / 1e6)));
    input.dispatchEvent(new Event("input", { bubbles: true }));
  });
  check();
  return input;
}
