/**
 * How numbers look: units, rounding, signs. A number the page does not have is an en dash, never 0.
 * Space before every unit but the degree sign, U+2212 as the minus: BIPM SI Brochure, 9th edition, 5.4.
 */

export const MISSING = "–";
const SPACE = "\u00a0";

/** @type {string|undefined} */
let locale;
/**
 * One formatter per number of digits: making one costs more than a hundred uses.
 * @type {Map<number, Intl.NumberFormat>}
 */
const formatters = new Map();

/** The setting "decimal sign" as a language that uses that sign. */
export const DECIMAL_LOCALES = Object.freeze({ auto: undefined, point: "en", comma: "de" });

/**
 * The language whose decimal sign is used, as a BCP 47 tag; undefined for the browser's.
 * @param {string|undefined} tag
 */
export function useLocale(tag) {
  locale = tag;
  formatters.clear();
}

function formatter(/** @type {number} */ digits) {
  const known = formatters.get(digits);
  if (known) return known;
  const options = {
    minimumFractionDigits: digits,
    maximumFractionDigits: digits,
    useGrouping: false,
    numberingSystem: "latn",
  };
  const made = new Intl.NumberFormat(locale, options);
  formatters.set(digits, made);
  return made;
}

/** @param {number|null|undefined} value @param {number} digits after the decimal sign */
export function number(value, digits = 0) {
  if (value === null || value === undefined || !Number.isFinite(value)) return MISSING;
  const text = formatter(digits).format(value);
  return /[1-9]/.test(text) ? text.replace("-", "\u2212") : text.replace("-", "");
}

/** The daemon's sentences with the minus sign that numbers have here. @param {string} text */
export function withMinus(text) {
  return text.replace(/(^|[\s(;])-(?=\d)/g, "$1\u2212");
}

/** A number as shown in a field, with all its digits and the chosen decimal sign. @param {number} value */
export function asTyped(value) {
  return String(value).replace(".", formatter(1).format(0.5).charAt(1));
}

/** @param {string} unit @param {number} digits */
const quantity = (unit, digits) => (/** @type {number|null|undefined} */ value) => number(value, digits) + SPACE + unit;

export const newtons = quantity("N", 0);
export const newtonsFine = quantity("N", 1);
export const millimetres = quantity("mm", 0);
export const millimetresFine = quantity("mm", 1);
export const watts = quantity("W", 0);
export const rpm = quantity("rpm", 0);
export const newtonMetres = quantity("N\u202fm", 1);
export const seconds = quantity("s", 0);
export const gradient = quantity("%", 1);
export const kilograms = quantity("kg", 1);
export const slope = quantity("N/mm", 2);

/** A suggested setback in whole millimetres: forward of it the chance would be larger than accepted. @param {number} mm */
export const roundedBack = (mm) => Math.ceil(mm - 1e-9);

/** A fraction as per cent. @param {number|null|undefined} share @param {number} digits */
export function percent(share, digits = 0) {
  return number(share === null || share === undefined ? share : 100 * share, digits) + SPACE + "%";
}

/** @param {number|null|undefined} value_deg */
export function degrees(value_deg) {
  return number(value_deg, 1) + "°";
}

/**
 * A standard uncertainty with two figures below 1, one decimal below 10, none above.
 * @param {number|null|undefined} value
 */
export function uncertainty(value) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "±" + SPACE + MISSING;
  return "±" + SPACE + number(value, value < 0.995 ? 2 : value < 9.95 ? 1 : 0);
}

/** "48–57 mm". @param {[number, number]|null|undefined} pair @param {string} unit @param {number} digits */
export function range(pair, unit, digits = 0) {
  if (!pair) return MISSING;
  const [low, high] = pair;
  const dash = low < 0 ? " to " : "–";
  return number(low, digits) + dash + number(high, digits) + SPACE + unit;
}

/** "1 sweep", "3 sweeps" @param {number} n @param {string} what */
export const counted = (n, what) => `${number(n)} ${what}${n === 1 ? "" : "s"}`;

/** "12 Mar 2026" @param {string} iso */
export const day = (iso) => new Date(`${iso}T12:00:00`).toLocaleDateString("en-GB", { day: "numeric", month: "short", year: "numeric" });

/** Minutes and seconds, "3:05"; the time left of a sweep. @param {number|null|undefined} value_s */
export function clock(value_s) {
  if (value_s === null || value_s === undefined || !Number.isFinite(value_s)) return MISSING;
  const whole = Math.max(0, Math.round(value_s));
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

/** How far and which way the saddle has to go. @param {number} from_mm @param {number} to_mm */
export function travel(from_mm, to_mm) {
  const far = millimetres(Math.abs(to_mm - from_mm));
  if (Math.round(to_mm - from_mm) === 0) return "already there";
  return to_mm < from_mm ? `${far} forward` : `${far} rearward`;
}
