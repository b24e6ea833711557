/** A new sweep: where from and to, in which order, how long, at what effort. The daemon says what that will give. */
import { barred, jigTaken, noLoads, refusal } from "../barred.js";
import { look, sendPlan } from "../commands.js";
import { changes, el, setAttribute, setText } from "../dom.js";
import { field, gather, read, scatter, write } from "../form.js";
import { counted, number } from "../format.js";
import { isNamed } from "../answer_words.js";
import { asSentence } from "../trade_words.js";
import { planInWords } from "../words.js";
import { takeWish } from "../wish.js";
import { stopButton } from "./run/stop.js";

/** @typedef {import("../form.js").Row} Row */

/** @type {(path: string, words: string, unit: string, value: number, least: number, most: number, step: number) => Row} */
const amount = (path, words, unit, value, least, most, step) => ({
  ...{ path, words, unit, value, least, most, step },
  kind: "number",
  required: true,
});

/** @type {Row[]} */
const WHERE = [
  amount("rear_mm", "Rear end, behind the BB", "mm", 80, -100, 300, 1),
  amount("front_mm", "Front end, behind the BB", "mm", 30, -100, 300, 1),
  amount("apart_mm", "Spacing", "mm", 5, 1, 100, 1),
  {
    path: "order",
    words: "Order",
    kind: "choice",
    options: ["out and back", "adaptive", "shuffled", "one way"],
    required: true,
  },
  amount("seed", "Seed of the shuffle", "", 1, 0, 2147483648, 1),
  { path: "repeat_first", words: "First position again at the end, to see drift", kind: "check", value: true },
  { path: "sham", words: "One sham step: the saddle is loosened, moved and put back", kind: "check" },
  { path: "protocol", words: "Bar", kind: "choice", options: ["reach kept", "bar fixed"], required: true },
  {
    path: "height_policy",
    words: "Height",
    kind: "choice",
    options: ["leg extension kept", "height kept"],
    required: true,
  },
  {
    path: "bar_height_policy",
    words: "Drop, where the reach is kept",
    kind: "choice",
    options: ["drop kept", "bar height kept"],
    required: true,
  },
];
/** @type {Row[]} */
const HOW = [
  { path: "label", words: "Name of this sweep", kind: "text" },
  amount("gradient_pct", "Gradient", "%", 0, -10, 20, 0.5),
  amount("power_w", "Power", "W", 200, 20, 600, 5),
  amount("cadence_rpm", "Cadence", "rpm", 90, 40, 130, 1),
  amount("settle_s", "Settling, at least", "s", 6, 0, 120, 1),
  amount("dwell_s", "Recording in the band", "s", 25, 3, 600, 1),
  { path: "minutes", words: "Minutes available (for the best plan)", unit: "min", kind: "number", least: 1, most: 120, step: 1 },
  { path: "blinded", words: "Rider sees neither loads nor setback", kind: "check", value: true },
  amount("loaded_chance_pct", "Accepted chance of loaded hands", "%", 5, 0.1, 50, 0.1),
  { path: "chance_of", words: "Suggest by the chance of", kind: "choice", options: ["today", "another day"], required: true },
];
const OF_SKETCH = [
  ...["rear_mm", "front_mm", "apart_mm", "order", "seed", "sham", "repeat_first"],
  ...["settle_s", "dwell_s", "protocol", "minutes"],
];
const OF_PLAN = [
  ...["protocol", "height_policy", "bar_height_policy", "label", "gradient_pct", "power_w", "cadence_rpm", "settle_s", "dwell_s"],
  ...["blinded", "order", "chance_of"],
];

const only = (/** @type {any} */ all, /** @type {string[]} */ names) =>
  Object.fromEntries(names.map((name) => [name, all[name]]));

const ofPlan = (/** @type {any} */ all) => ({ ...only(all, OF_PLAN), loaded_chance: all.loaded_chance_pct / 100 });

/** @param {HTMLElement} root @param {import("../store.js").Store} store @returns {() => void} takes the screen away */
export function mount(root, store) {
  const fields = [...WHERE, ...HOW].map((row) => field(row, "plan"));
  const nodes = fields.map((each) => each.node);
  const [order_of, seed, again, sham] = ["order", "seed", "repeat_first", "sham"].map((path) => /** @type {import("../form.js").Field} */ (fields.find((each) => each.row.path === path)));
  const order = el("div", { class: "plan-order", role: "status" });
  const best = el("button", { type: "button", class: "small", hidden: true, onclick: takeBest }, "Use the best plan");
  const measured_to = el("p", { class: "here" });
  const [proof, prove] = [el("span", {}), el("a", { href: "#prove" }, "To Proof")];
  const why = el("p", { class: "here" });
  const begin = el("button", { type: "submit", class: "main" }, "Set this plan");
  const climb = el("button", { type: "button", onclick: climbing });
  const bar = barred(begin, climb);
  bar.node.setAttribute("role", "alert");
  const stop = stopButton(store);
  const form = el(
    "form",
    { class: "page", onsubmit: submit, oninput: sketched },
    el("h1", {}, "Plan a sweep"),
    el(
      "div",
      { class: "two rows" },
      el("div", { class: "plate" }, ...nodes.slice(0, WHERE.length)),
      el("div", { class: "plate" }, ...nodes.slice(WHERE.length)),
    ),
    why,
    measured_to,
    el("p", { class: "here" }, proof, " ", prove),
    order,
    el("p", {}, best),
    bar.node,
    el("p", { class: "page-end" }, begin, climb, stop.node),
  );
  root.replaceChildren(form);

  /** @type {any} */
  let outlook = null;
  let asked = 0;
  /** Whether the answer is about the plan as it stands: the fields may have changed while it came. */
  async function sketched() {
    const mine = ++asked;
    const wrong = fields.find(({ input }) => !input.validity.valid);
    if (wrong) {
      outlook = null;
      setAttribute(best, "hidden", true);
      order.replaceChildren(el("p", {}, wrong.input.validationMessage));
      return true;
    }
    const found = await look("/api/v1/plan", only(gather(fields), OF_SKETCH));
    if (mine !== asked) return false;
    outlook = found;
    setAttribute(best, "hidden", !differs(found.best, gather(fields), found));
    order.replaceChildren(...planInWords(outlook).map((text) => el("p", {}, ...refusal({ text, see: outlook?.see }))));
    return true;
  }

  /** The fields as the best plan has them; positions ridden again belong to it. */
  function takeBest() {
    const { apart_mm, order: in_order, dwell_s } = outlook.best;
    scatter(fields, { ...gather(fields), apart_mm, order: in_order, dwell_s, repeat_first: true });
    void sketched();
  }

  /** Was, new and front end on a climb, the effort as above. */
  async function climbing() {
    const check = store.state.visit?.climb_check;
    if (!check) return;
    const { positions_mm, gradient_pct } = check;
    const plan = { ...ofPlan(gather(fields)), ...start(), positions_mm, gradient_pct, order: "one way", seed: null, label: "climb check", purpose: "check" };
    if (await sendPlan(store, plan)) location.hash = "#checks";
  }
  function start() {
    const { intake, measured } = store.state.visit ?? {};
    return { start_setback_mm: intake?.saddle.setback_mm ?? null, start_height_mm: measured?.height_mm ?? intake?.saddle.height_mm ?? null };
  }

  async function submit(/** @type {Event} */ event) {
    event.preventDefault();
    while (!(await sketched())); // what is sent is the plan that is seen, and no press is lost
    if (!outlook?.positions_mm) return;
    const all = gather(fields);
    const plan = {
      ...ofPlan(all),
      positions_mm: outlook.positions_mm,
      seed: all.order === "shuffled" ? all.seed : null,
      ...start(),
    };
    if (await sendPlan(store, plan)) location.hash = store.state.visit ? "#checks" : "#run";
  }

  const moved = changes();
  const wish = takeWish();
  void sketched();
  return store.onFrame((state) => {
    const busy = state.sweep?.accepts.includes("stop") && state.sweep.state !== "waiting";
    const range = state.visit?.range;
    if (moved(range?.rear_mm, range?.front_mm, state.sweep?.sweep_id)) {
      const last = state.visit?.swept && state.sweep?.purpose === "onset" ? state.sweep : null;
      if (last) scatter(fields, asRidden(last));
      else if (range) scatter(fields.slice(0, 3), range);
      if (wish) fill(fields, wish);
      void sketched();
    }
    const to = state.visit?.intake?.saddle.reference;
    setText(measured_to, to ? `Setback is measured to the ${to} of this client’s saddle.` : "");
    setText(proof, state.calibration?.proof ? asSentence(state.calibration.proof) : "");
    setAttribute(prove, "hidden", !state.calibration?.unproved);
    setAttribute(seed.node, "hidden", order_of.input.value !== "shuffled");
    // An adaptive sweep chooses its own positions, and rides the first again at the end by itself.
    for (const each of [again, sham]) setAttribute(each.node, "hidden", order_of.input.value === "adaptive");
    setAttribute(stop.node, "hidden", !busy);
    const check = state.visit?.climb_check;
    setAttribute(climb, "hidden", !check || busy);
    // The climb is what comes after a level sweep with an answer.
    const next = Boolean(check) && !busy && !wish && isNamed(state.onset);
    setAttribute(climb, "class", next ? "main" : null);
    setAttribute(begin, "class", next ? null : "main");
    if (check) setText(climb, climbLabel(check));
    setText(why, wish?.why ?? (range && !state.visit?.swept ? asSentence(range.why) : ""));
    stop.draw(state);
    bar.draw(jigTaken(state) || noLoads(state), state.sending !== null);
  });
}

/** Whether the daemon's best plan can be ridden and is another than the one in the form. @param {any} best @param {any} form @param {any} found */
function differs(best, form, found) {
  if (!best?.positions_mm.length) return false;
  return best.dwell_s !== form.dwell_s || best.positions_mm.join() !== found.positions_mm?.join();
}

/** What is wished for and nothing else. @param {import("../form.js").Field[]} fields @param {import("../wish.js").Wish} wish */
function fill(fields, wish) {
  for (const each of fields) {
    if (each.row.path in wish) write(each, wish[each.row.path]);
    if (each.row.path === "dwell_s") write(each, Math.min(read(each) * (wish.dwell_times ?? 1), each.row.most ?? Infinity));
  }
}

/** The last plan again, for the next sweep of the day; a sham step and a name are asked for anew. */
function asRidden(/** @type {import("../state.js").Sweep} */ sweep) {
  const { planned_mm } = sweep;
  const forward = [...new Set(planned_mm)].sort((a, b) => a - b);
  const gaps = forward.slice(1).map((mm, i) => mm - forward[i]).sort((a, b) => a - b);
  return {
    ...sweep,
    label: "",
    loaded_chance_pct: Math.round(1000 * sweep.loaded_chance) / 10,
    rear_mm: forward.at(-1),
    front_mm: forward[0],
    // An adaptive sweep chooses its own; of one gone on with, what was ridden in between is not its spacing.
    apart_mm: sweep.order === "adaptive" ? null : gaps[Math.floor(gaps.length / 2)],
    repeat_first: planned_mm.length > forward.length && planned_mm[0] === planned_mm.at(-1),
  };
}

/** "Climb check: 78, 58, 30 mm at 4.5 %, 3 minutes" */
function climbLabel(/** @type {any} */ { positions_mm, gradient_pct, minutes }) {
  const where = positions_mm.map((/** @type {number} */ mm) => number(mm)).join(", ");
  return `Climb check: ${where} mm at ${number(gradient_pct, 1)} %, ${counted(Math.ceil(minutes), "minute")}`;
}
