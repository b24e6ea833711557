/** What is asked of a new proof, in tables for forms; limits as in daq/proof/sheet.py. @typedef {import("../../form.js").Row} Row */
import { number } from "../../format.js";

/** @type {[string, Row[]][]} */
export const ASKED = [
  [
    "Who and how",
    [
      { path: "made_by", words: "Who proves", kind: "text", required: true },
      { path: "place", words: "Where", kind: "text" },
      { path: "placements", words: "Placements of the dummy", kind: "number", least: 3, most: 10, step: 1, required: true, value: 4 },
      { path: "read_s", words: "A reading takes", kind: "number", unit: "s", least: 1, most: 60, required: true, value: 3 },
    ],
  ],
  [
    "The dummy, as built and measured",
    [
      { path: "dummy.name", words: "Its name", kind: "text", required: true },
      { path: "dummy.rate_n_per_mm", words: "Rate of spring and rope", kind: "number", unit: "N/mm", least: 0.05, most: 10, required: true },
      { path: "dummy.u_rate_n_per_mm", words: "its standard uncertainty", kind: "number", unit: "N/mm", least: 0.0001, most: 1, required: true },
      { path: "dummy.angle_deg", words: "Rope’s last length against the jig’s normal", kind: "number", unit: "°", least: 0, most: 10, required: true, value: 0 },
      { path: "dummy.u_datum_mm", words: "Ends of the caliper’s measure, standard uncertainty", kind: "number", unit: "mm", least: 0.01, most: 2, required: true, value: 0.1 },
      { path: "dummy.u_level_deg", words: "Independent level, standard uncertainty", kind: "number", unit: "°", least: 0.001, most: 1, required: true, value: 0.05 },
    ],
  ],
  [
    "Plates for a gradual rise; empty without",
    [
      { path: "rates", words: "Rate of each plate’s spring", kind: "text", unit: "N/mm" },
      { path: "later", words: "Each met further forward by", kind: "text", unit: "mm" },
    ],
  ],
  [
    "A plank with a mass, which bar and saddle share; empty without",
    [
      { path: "mass.mass_kg", words: "Plank and mass", kind: "number", unit: "kg", least: 0.1, most: 40 },
      { path: "mass.ahead_m", words: "their centre ahead of the pin", kind: "number", unit: "m", least: 0, most: 1 },
      { path: "mass.above_m", words: "and above pin and roller", kind: "number", unit: "m", least: -0.5, most: 0.5 },
      { path: "mass.pin_behind_mm", words: "Pin behind the saddle’s reference", kind: "number", unit: "mm", least: -100, most: 300 },
    ],
  ],
];

/** What the daemon takes of what was typed. RangeError saying what is wrong. @param {any} typed @returns {any} */
export function askedOf({ dummy, rates, later, mass, ...rest }) {
  const parts = { ...dummy };
  if (rates || later) {
    parts.gradual = { rates_n_per_mm: numbers(rates, "rate of each plate’s spring"), later_mm: numbers(later, "each met further forward by") };
  }
  const { pin_behind_mm, ...needed } = mass;
  const given = Object.values(needed).filter((each) => each !== null).length;
  if (given > 0 && given < 3) throw new RangeError("The plank: expected its mass, how far ahead and how far above, or none of them.");
  if (given === 3) parts.mass = { ...needed, ...(pin_behind_mm !== null && { pin_behind_mm }) };
  return { ...rest, dummy: parts };
}

/** @param {string} text @param {string} words */
function numbers(text, words) {
  const found = text.trim().split(/[;\s]+/).map((each) => Number(each.replace(",", ".")));
  if (!text.trim() || found.some((each) => !Number.isFinite(each)))
    throw new RangeError(`${words}: expected numbers with spaces between them, got ${text.trim() || "none"}`);
  return found;
}

/** The values a task asks for. @type {Record<string, {words: string, unit: string}>} */
export const VALUES = {
  caliper_mm: { words: "By caliper, BB axis to saddle reference", unit: "mm" },
  gap_mm: { words: "Gap under the ball", unit: "mm" },
  level_deg: { words: "Independent level, nose up positive", unit: "°" },
};

const unit = (/** @type {string} */ name) => (VALUES[name].unit === "°" ? "°" : ` ${VALUES[name].unit}`);

/** "The simulated caliper shows 71.32 mm" @param {Record<string, number>} shown */
export function shownWords(shown) {
  const all = Object.entries(shown).map(([name, value]) => `${VALUES[name].words}: ${number(value, 2)}${unit(name)}`);
  return all.length ? `The simulated instruments show: ${all.join("; ")}.` : "";
}
