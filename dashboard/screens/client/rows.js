/** What is asked of a client: the rows of the intake form. Limits and meanings are in daq/fit/intake.py. */

/** @typedef {import("../../form.js").Row} Row */

export const PLACES = Object.freeze([
  ...["hands", "thumb side", "little finger side", "wrists", "elbows", "shoulders", "neck", "upper back", "lower back"],
  ...["sit bones", "perineum", "hip", "thigh front", "hamstring", "knee front", "knee back", "calf", "ankle", "foot"],
]);
export const HANDS = Object.freeze(["hoods", "tops", "drops", "flat bar", "extensions"]);

/** The point to which every setback of a client is measured: always asked, never assumed. */
export const REFERENCES = /** @type {const} */ ([["nose", "nose"], ["80 mm width", "80 mm width"]]);

/** Asked at a first visit. @type {Row[]} */
export const FIRST = [
  { path: "mass_kg", words: "Mass as ridden", kind: "number", unit: "kg", least: 30, most: 200 },
  { path: "inseam_mm", words: "Inseam", kind: "number", unit: "mm", least: 500, most: 1100 },
  { path: "saddle.setback_mm", words: "Setback now", kind: "number", unit: "mm", least: -100, most: 300 },
  { path: "saddle.height_mm", words: "Saddle height now", kind: "number", unit: "mm", least: 400, most: 1000 },
  { path: "saddle.tilt_deg", words: "Saddle tilt now, nose up +", kind: "number", unit: "°", least: -20, most: 20 },
  { path: "crank_mm", words: "Crank length", kind: "number", unit: "mm", least: 100, most: 200 },
  { path: "hands", words: "Hands most often on", kind: "choice", options: HANDS, required: true },
  { path: "goal", words: "What should get better?", kind: "long" },
];

/** @type {Row[]} */
export const RIDING = [
  { path: "riding", words: "Riding", kind: "text" },
  { path: "hours_a_week", words: "Hours a week", kind: "number", unit: "h", least: 0, most: 60 },
  { path: "injuries", words: "Injuries, operations", kind: "long" },
];

/** @type {Row[]} */
export const EQUIPMENT = [
  { path: "saddle.name", words: "Saddle", kind: "text" },
  { path: "saddle.nose_to_width_mm", words: "Nose to 80 mm width", kind: "number", unit: "mm", least: 0, most: 200 },
  { path: "bar", words: "Bar and stem", kind: "text" },
  { path: "shoes", words: "Shoes and cleats", kind: "text" },
];

/** @type {Row[]} */
export const FEEL = [
  ["over_the_top", "Pushing over the top is hard work"],
  ["choppy_climbing", "Stroke dies at the bottom on 4–5 % climbs"],
  ["hamstrings_calves", "Tired hamstrings and calves"],
  ["quadriceps", "Tired quadriceps"],
  ["creeping_forward", "Creeps forward on the saddle"],
  ["front_light", "Front wheel light on climbs"],
].map(([name, words]) => ({
  path: `feel.${name}`,
  words,
  kind: /** @type {const} */ ("number"),
  unit: "0–10",
  least: 0,
  most: 10,
  step: 1,
}));

/** @type {Row[]} */
export const BICYCLE = [
  { path: "bicycle.name", words: "Bicycle", kind: "text" },
  { path: "bicycle.wheelbase_mm", words: "Wheelbase", kind: "number", unit: "mm", least: 700, most: 2500 },
  { path: "bicycle.chainstay_mm", words: "Chainstay", kind: "number", unit: "mm", least: 300, most: 700 },
  { path: "bicycle.bb_drop_mm", words: "BB drop", kind: "number", unit: "mm", least: -100, most: 120, value: 70 },
  {
    path: "bicycle.wheel_radius_mm",
    words: "Wheel radius",
    kind: "number",
    unit: "mm",
    least: 150,
    most: 450,
    value: 340,
  },
  { path: "bicycle.mass_kg", words: "Bicycle’s mass", kind: "number", unit: "kg", least: 3, most: 60, value: 8.5 },
];

/** @type {Row[]} */
export const POST = [
  { path: "post.seat_tube_deg", words: "Seat tube angle", kind: "number", unit: "°", least: 60, most: 85, value: 73.5 },
  { path: "post.post_offset_mm", words: "Post: clamp behind its middle", kind: "number", unit: "mm", least: -60, most: 80, value: 0 },
  { path: "post.clamp_below_saddle_mm", words: "Saddle top over the rails", kind: "number", unit: "mm", least: 0, most: 150, value: 45 },
  { path: "post.rails_front_mm", words: "From the setback’s point to the foremost clamp mark", kind: "number", unit: "mm", least: 0, most: 300 },
  { path: "post.rails_rear_mm", words: "To the rearmost clamp mark", kind: "number", unit: "mm", least: 0, most: 350 },
];
