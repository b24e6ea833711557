/** What is asked at the bench, in tables for forms. @typedef {import("../../form.js").Row} Row */

/** @type {Row} */
export const WEIGHTS_CLASS = {
  path: "reference.weights_class",
  words: "Class of the weights (OIML R 111)",
  kind: "choice",
  options: ["M3", "M2", "M1", "F2", "F1", "E2"],
};

/** @type {Row[]} */
export const CERTIFICATE = [
  { path: "reference.certificate", words: "or certificate", kind: "text" },
  { path: "expanded_pct", words: "and its expanded uncertainty (k = 2)", kind: "number", unit: "%", least: 0.0001, most: 19 },
];

/** @type {Row[]} */
export const GRAVITY = [
  { path: "gravity.g_m_s2", words: "Local gravity", kind: "number", unit: "m/s²", least: 9.75, most: 9.85 },
  { path: "gravity.u_g_m_s2", words: "and its standard uncertainty", kind: "number", unit: "m/s²", least: 0, most: 0.05 },
  { path: "gravity.latitude_deg", words: "or latitude", kind: "number", unit: "°", least: -90, most: 90 },
  { path: "gravity.height_m", words: "and height", kind: "number", unit: "m", least: -500, most: 9000 },
];

/** @type {[string, Row[]][]} heading and rows */
export const WANTED = [
  [
    "Who and where",
    [
      { path: "made_by", words: "Who calibrates", kind: "text", required: true },
      { path: "place", words: "Where", kind: "text" },
      { path: "temperature_degc", words: "Room", kind: "number", unit: "°C", least: -20, most: 60 },
      { path: "temperature_half_range_k", words: "Used within", kind: "number", unit: "± K", least: 0, most: 40, value: 5 },
      { path: "sensitivity_ppm", words: "Temperature effect by data sheet", kind: "number", unit: "ppm/K", least: 0, most: 10000 },
      { path: "remarks", words: "Remarks for the certificate", kind: "text" },
    ],
  ],
  [
    "What is put on",
    [
      { path: "masses", words: "Masses on each cell, lightest first", kind: "text", unit: "kg", value: "5, 10, 20, 30, 40" },
      { path: "forces", words: "or forces by a reference cell", kind: "text", unit: "N" },
      WEIGHTS_CLASS,
      ...CERTIFICATE,
      ...GRAVITY,
      { path: "expected", words: "Counts per newton by data sheet", kind: "text" },
      { path: "only", words: "Only these cells; all when empty", kind: "text" },
    ],
  ],
  [
    "How it is read",
    [
      { path: "series", words: "Times up and down", kind: "number", least: 2, most: 10, step: 1, value: 3 },
      { path: "curve", words: "Fitted by", kind: "choice", options: ["parabola", "line"], required: true },
      { path: "read_s", words: "A reading takes", kind: "number", unit: "s", least: 2, most: 120, value: 5 },
      { path: "warm_up_min", words: "Warm-up", kind: "number", unit: "min", least: 0, most: 240, value: 15 },
      { path: "on_for_min", words: "Power is on already for", kind: "number", unit: "min", least: 0, most: 1440, value: 0 },
      { path: "creep_min", words: "Creep test, 0 for none", kind: "number", unit: "min", least: 0, most: 240, value: 30 },
      { path: "crosstalk_kg", words: "Cross-talk, 0 for none", kind: "number", unit: "kg", least: 0, most: 500, value: 20 },
      { path: "places", words: "Off-axis places", kind: "long" },
      { path: "tilts", words: "Tilts of the empty jig, up and down", kind: "text", unit: "°" },
      { path: "known_tilts", words: "The tilts are set with a level", kind: "check" },
    ],
  ],
];

/** What was typed, in the form the daemon takes: lists from text. RangeError for anything that should be a number and is not. */
export function wantedOf(/** @type {any} */ typed) {
  const { masses, forces, only, tilts, places, expected, sensitivity_ppm, curve, ...rest } = withReference(typed);
  return {
    ...rest,
    order: curve === "line" ? 1 : 2,
    sensitivity_per_k: sensitivity_ppm === null ? null : sensitivity_ppm / 1e6,
    masses_kg: forces ? [] : numbers(masses),
    loads_n: numbers(forces),
    cells: words(only),
    expected_per_n: Object.fromEntries(words(expected).map(countsOf)),
    tilts_deg: numbers(tilts),
    places: places.split("\n").filter(Boolean).map(placeOf),
  };
}

/** A certificate's uncertainty as a fraction of the value. */
export function withReference(/** @type {any} */ { expanded_pct, reference, ...rest }) {
  const expanded_relative = expanded_pct === null ? null : expanded_pct / 100;
  return { ...rest, reference: { ...reference, expanded_relative } };
}

/** "left edge: saddle_nose, saddle_rear: 20" @param {string} line */
function placeOf(line) {
  const [name, cells, mass] = line.split(":");
  return { name: name.trim(), cells: words(cells ?? ""), mass_kg: numberOf(mass ?? "nothing") };
}

/** "hands_left=8550" @param {string} text */
function countsOf(text) {
  const [cell, counts] = text.split("=");
  return [cell, numberOf(counts ?? text)];
}

const words = (/** @type {string} */ text) => text.split(/[;,\s]+/).filter(Boolean);

/** With semicolons between the numbers a comma is a decimal sign: "2,5; 5; 10". @param {string} text */
function numbers(text) {
  const plain = text.includes(";") ? text.replaceAll(",", ".") : text;
  return words(plain).map(numberOf);
}

/** @param {string} text @returns {number} */
function numberOf(text) {
  const value = Number(text);
  if (Number.isNaN(value)) throw new RangeError(`"${text.trim()}" is not a number`);
  return value;
}
