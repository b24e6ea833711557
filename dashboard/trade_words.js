/**
 * The daemon's sentences as a fitter would say them: fields and cells in the words of the trade, a capital and a full
 * stop. Pure.
 */
import { withMinus } from "./format.js";

/** Fields whose own name is not a word of the trade. The others just lose their unit and their underscores. */
const FIELDS = new Map(
  Object.entries({
    known_kg: "known weight",
    mass_kg: "mass",
    reason: "reason",
    flag_reason: "why the client rides anyway",
    decided_by: "decided by",
    recheck_on: "re-check",
    rear_mm: "rear end",
    front_mm: "front end",
    apart_mm: "spacing",
    positions_mm: "positions",
    dwell_s: "recording time",
    settle_s: "settling time",
    gradient_pct: "gradient",
    height_mm: "saddle height",
    tilt_deg: "saddle tilt",
    saddle_tilt_deg: "saddle tilt",
    nose_to_width_mm: "nose to 80 mm width",
    keep_until: "records are kept until",
    service: "consent to the fitting",
    made_by: "who calibrates",
    masses_kg: "masses",
    loads_n: "forces",
    read_s: "time of a reading",
  }),
);

const UNITS = /_(mm|kg|n|deg|s|min|w|rpm|pct|nm|k|c|m)$/;

/** A field or a cell in words: "hands_left" as "hands left". @param {string} name */
export function spoken(name) {
  const last = name.split(".").at(-1) ?? name;
  return FIELDS.get(last) ?? last.replace(UNITS, "").replaceAll("_", " ");
}

/** @param {string} text */
export const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);

/** @param {string} text */
export function inTradeWords(text) {
  const told = text
    .replace(/\bno port [^;]+; no serial port is plugged in/, "its cable is out")
    .replace(/\bno port [^;]+; ports here: [^;]+/, "its cable is out, or the rig file names another port")
    .replace(/(^|; )([a-z][a-z0-9_]*(?:\.[a-z0-9_]+)*)(?=: )/g, (_, before, name) => before + spoken(name))
    .replace(/\b[a-z]+(?:_[a-z0-9]+)+\b/g, spoken);
  return asSentence(withMinus(told));
}

/** @param {string} text */
export function asSentence(text) {
  if (!text) return "";
  const first = capital(text);
  return /[.!?]$/.test(first) ? first : first + ".";
}
