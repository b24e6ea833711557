/**
 * The sentences of the page, in one place: what to do now, what is in the band. Of the answer: answer_words.js.
 * Pure functions from state to words.
 *
 * @typedef {import("./state.js").State} State
 * @typedef {import("./state.js").Sweep} Sweep
 * @typedef {{lead: string, value: string, unit: string, detail: string, waits: boolean}} Instruction
 */
import { parts, partToTick, readSetback } from "./moving.js";
import { nextAct } from "./visit_line.js";
import { answerRange, goesByAnotherDay, headline, isNamed, nextAfter, spoilt, suggestedName } from "./answer_words.js";
import { counted, millimetres, millimetresFine, number, percent, roundedBack, slope, travel } from "./format.js";
import { asSentence } from "./trade_words.js";

export const CAUTION = "Pain, numbness or dizziness: stop.";
export const TILT_CAUTION =
  "The jig tilts: rider seated with both hands on the bar, feet still, nobody near the frame.";

/** Not an event of the sweep: one part of a move is confirmed, others remain. */
export const TICK = "tick";
/** What the feet can carry of the weight; outside it something is wrong. */
const FEET_SHARE = [0.1, 0.6];

/** @returns {Instruction} */
function say(/** @type {string} */ lead, /** @type {Partial<Instruction>} */ rest = {}) {
  return { lead, value: "", unit: "", detail: "", waits: false, ...rest };
}

/** A sham in words, and the reason for this position: what the figures of a move do not say. @param {Sweep} sweep */
export function moveTold({ planned_mm, step, why_here }) {
  const sham = step > 1 && planned_mm[step - 1] === planned_mm[step - 2];
  return [sham && "The same place again: loosen it, move it away, put it back.", why_here && asSentence(`why here: ${why_here}`)].filter(Boolean).join(" ");
}

/** How far to move, what the height and a sham require, and what happens to the reach. @param {Sweep} sweep */
function moveDetail({ setback_mm, asked_setback_mm, stepping, planned_mm, step, why_here }) {
  if (asked_setback_mm === null) return "";
  const { height_change_mm, reach_change_mm } = stepping ?? {};
  const raise = typeof height_change_mm === "number" ? `height ${signed(height_change_mm)} from the start` : "";
  const reach = reach_change_mm ? `reach ${signed(reach_change_mm)}` : "";
  // The same position twice in the plan is a sham; asked again after a redo or a pause the saddle simply stays.
  const sham = step > 1 && planned_mm[step - 1] === planned_mm[step - 2];
  const there = sham ? "loosen it, move it away, put it back" : "already there";
  const move = setback_mm === asked_setback_mm ? there : setback_mm === null ? "" : travel(setback_mm, asked_setback_mm);
  const told = [move, raise, reach].filter(Boolean).join("; ");
  if (!why_here) return told;
  return [told, `why here: ${why_here}`].filter(Boolean).map(asSentence).join(" ");
}

/** "+3 mm", "−2 mm". @param {number} mm */
const signed = (mm) => (mm >= 0.5 ? "+" : "") + millimetres(mm);

/** That it is finished, and of an adaptive sweep why. */
const ended = (/** @type {Sweep} */ { why_here }) => (why_here ? asSentence(why_here) : "Finished.");

/** @type {Record<string, (sweep: Sweep, state: State) => Instruction>} */
const NOW = {
  waiting: (sweep) => say("Rider warms up, then begin", { detail: sweep.gradient_pct === 0 ? CAUTION : TILT_CAUTION }),
  moving: (sweep) =>
    say("Move the saddle to", {
      value: number(sweep.asked_setback_mm),
      unit: "mm behind the BB",
      detail: moveDetail(sweep),
    }),
  settling: (sweep) =>
    sweep.settle_left_s === 0
      ? say("Keep pedalling: not steady yet", { detail: sweep.why_waiting, waits: true })
      : say("Keep pedalling: settling", {
          value: number(sweep.settle_left_s),
          unit: "s at least",
          detail: sweep.why_waiting,
        }),
  averaging: (sweep) =>
    say(sweep.in_band === false ? "Recording waits" : "Keep pedalling: recording", {
      value: number(sweep.dwell_left_s),
      unit: "s left",
      detail: sweep.why_waiting || (sweep.in_band === false ? "outside the band" : ""),
      waits: sweep.in_band === false,
    }),
  paused: (sweep) => {
    const again = `the step at ${millimetres(sweep.asked_setback_mm)} starts again.`;
    return sweep.pain
      ? say("Pain or numbness: stop pedalling", { detail: `Stop ends the sweep. Resume only when it is gone: ${again}` })
      : say("Paused: the rider rests", { detail: `When you resume, ${again}` });
  },
  finished: (sweep, state) => {
    const { onset } = state;
    if (sweep.purpose === "confirm") return say("Both places are ridden", { detail: "Decide shows what differs." });
    if (!isNamed(onset)) {
      const why = sweep.why_here && !spoilt(onset) && ended(sweep);
      return say("Finished", { detail: [asSentence(headline(state)), why, ...nextAfter(onset).slice(0, 1)].filter(Boolean).join(" ") });
    }
    const answer = `Onset ${answerRange(onset)}.`;
    if (onset.suggested_setback_mm === null) {
      return say("No setback is suggested", {
        detail: `${ended(sweep)} ${answer} Even at the rear end the hands may carry more: ride further back as well.`,
      });
    }
    return say(suggestedName(sweep), {
      value: number(roundedBack(onset.suggested_setback_mm)),
      unit: "mm behind the BB",
      detail: `${ended(sweep)}${sweep.why_here ? "" : ` ${answer}`} ${goesByAnotherDay(sweep) ? "This plan goes by another day’s: Decide says which place that is." : "The fitter decides."}`,
    });
  },
  stopped: () => say("Stopped", { detail: "Rider off the jig first. What was recorded is kept." }),
};

/** The one thing to do next. @param {State} state @returns {Instruction} */
export function instruction(state) {
  if (!state.sweep) return say(nextAct(state).words, { detail: state.visit ? "Nothing is planned yet." : "Nothing is planned yet. A sweep without a client is a trial." });
  return (NOW[state.sweep.state] ?? (() => say(state.sweep?.state ?? "")))(state.sweep, state);
}

/** "Step 5 of 11": the one after those finished. An adaptive sweep may end sooner. @param {State} state */
export function progress({ sweep, steps }) {
  if (!sweep || sweep.state === "waiting") return "";
  if (sweep.accepts.length === 0) return `${number(steps.length)} of ${counted(sweep.steps_planned, "step")} ridden`;
  if (sweep.order === "adaptive") return `Step ${number(steps.length + 1)} of at most ${number(sweep.steps_planned)}`;
  return `Step ${number(Math.min(steps.length + 1, sweep.steps_planned))} of ${number(sweep.steps_planned)}`;
}

const MOST_LISTED = 6;

/** What takes a sweep up that was ended too early; empty when nothing is left of it. @param {Sweep|null} sweep */
export const goOnLabel = (sweep) => (sweep?.may_go_on ? `Go on from step ${number(sweep.step)} of ${number(sweep.steps_planned)}` : "");

/** What would settle an undecided sweep: which positions, how long; empty when nothing would. @param {Sweep|null} sweep */
export function settleLabel(sweep) {
  if (!sweep?.to_settle) return "";
  const { positions_mm, minutes } = sweep.to_settle;
  const where = positions_mm.length > MOST_LISTED ? "" : `: ${positions_mm.map((mm) => number(mm)).join(", ")} mm`;
  const how = positions_mm.length === 1 ? "this one" : `these ${number(positions_mm.length)}`;
  return `Ride ${how}, ${counted(Math.ceil(minutes), "minute")}${where}`;
}

/**
 * Where a value lies relative to its band, in words a rider can follow.
 * @param {number|null|undefined} value @param {[number, number]|null|undefined} band
 * @param {(value: number) => string} withUnit
 * @returns {{where: "below"|"in"|"above"|"unknown", words: string}}
 */
export function bandSign(value, band, withUnit) {
  if (value === null || value === undefined) return { where: "unknown", words: "not known" };
  if (!band) return { where: "unknown", words: "no band set" };
  const off = (/** @type {number} */ by) => (by < 0.5 ? "just" : withUnit(by));
  if (value < band[0]) return { where: "below", words: `${off(band[0] - value)} too low` };
  if (value > band[1]) return { where: "above", words: `${off(value - band[1])} too high` };
  return { where: "in", words: "in the band" };
}

/** A foot share outside FEET_SHARE means that a cell, a zero or the mass is wrong. @param {number|null|undefined} share */
export function footDoubt(share) {
  const [least, most] = FEET_SHARE;
  if (share === null || share === undefined || (share >= least && share <= most)) return "";
  return `Feet outside ${number(100 * least)} to ${percent(most)} of the weight: a cell, a zero or the mass is wrong. No answer can be trusted.`;
}

/**
 * What the large button does now: sends an event, or opens the next screen when no sweep is in progress; null when it
 * is the rider's turn and there is nothing to confirm.
 * @param {State} state
 * @returns {{event: string|null, label: string, to?: string}|null}
 */
export function mainAction(state) {
  const { sweep, visit, steps } = state;
  const tick = partToTick(state);
  if (tick && sweep?.accepts.includes("saddle_moved")) return { event: TICK, label: `${tick.short} is ${number(tick.value_mm)}` };
  if (sweep?.accepts.length === 0 && visit && steps.length) return { event: null, label: "Decide", to: "#decide" };
  if (sweep?.over) return null;
  if (!sweep) return { event: null, ...nextOf(state) };
  if (sweep.accepts.length === 0) return { event: null, label: "Plan a sweep", to: "#plan" };
  if (sweep.accepts.includes("begin"))
    return visit?.in_the_way ? { event: null, ...nextOf(state) } : { event: "begin", label: "Begin the sweep" };
  if (sweep.accepts.includes("saddle_moved")) {
    const read_mm = readSetback(state);
    const last = state.settings?.one_by_one ? parts(state).at(-1) : undefined;
    if (last && last.name !== "setback_mm") return { event: "saddle_moved", label: `${last.short} is ${number(last.value_mm)}: all set` };
    const at = read_mm === null ? millimetres(state.entry_mm) : millimetresFine(read_mm);
    return { event: "saddle_moved", label: `Saddle is at ${at}` };
  }
  if (sweep.accepts.includes("resume") && sweep.pain && !sweep.pain_told) return null;
  if (sweep.accepts.includes("resume")) return { event: "resume", label: "Resume" };
  return null;
}

/** What the visit waits for, as the large button says it. @param {State} state */
function nextOf(state) {
  const { to, words } = nextAct(state);
  return { to, label: words };
}

const IDLE = { settle: "Settling", record: "Recording", waits: "Waiting for the rider", fault: "Waiting" };

/** The large button's words while there is nothing to confirm. @param {import("./glance.js").Glance} seen */
export function idleLabel({ kind, word }) {
  if (word === "OVER") return "Over for today";
  return IDLE[/** @type {keyof typeof IDLE} */ (kind)] ?? "";
}

/** A larger deviation from the requested setback is pointed out before it is confirmed, as the daemon does after. */
const MISPLACED_MM = 3;

/** @param {State} state */
export function entryDoubt(state) {
  const asked_mm = state.sweep?.asked_setback_mm;
  if (state.entry_mm === null || asked_mm === null || asked_mm === undefined) return "";
  const off_mm = (readSetback(state) ?? state.entry_mm) - asked_mm;
  if (Math.abs(off_mm) <= MISPLACED_MM) return "";
  return `${millimetres(Math.abs(off_mm))} from what is asked. Measure again before you confirm.`;
}

/** What a plan costs and gives, one line each. @param {any} outlook the daemon's answer to a sketch @returns {string[]} */
export function planInWords(outlook) {
  if (!outlook?.positions_mm) return [outlook?.problem ?? ""];
  const widths = [...outlook.widths].sort((a, b) => b.slope_n_per_mm - a.slope_n_per_mm);
  const known = widths
    .filter(({ width_mm }) => width_mm !== null)
    .map(({ width_mm, slope_n_per_mm }, i) => `± ${millimetres(width_mm / 2)} (95 %) ${i ? "at" : "where the hands’ load rises by"} ${slope(slope_n_per_mm)}`);
  const unfound = widths.filter(({ width_mm }) => width_mm === null).map(({ slope_n_per_mm }) => slope(slope_n_per_mm));
  const positions = outlook.positions_mm.map((/** @type {number} */ mm) => number(mm)).join(", ");
  const time = `about ${counted(Math.ceil(outlook.duration_s / 60), "minute")}`;
  return [
    outlook.at_most
      ? `At most ${counted(outlook.positions_mm.length, "step")}, ${time}; each is chosen from those before it. It ends by itself when the answer is narrow or settled, with the first position once more.`
      : `${counted(outlook.positions_mm.length, "step")}, ${time}: ${positions} mm`,
    ...(widths.length
      ? [[
          known.length ? `The onset will be known to ${known.join(", ")}.` : "",
          unfound.length ? `Not found by this plan: a rise of ${unfound.join(", of ")}.` : "",
          `A rise below ${slope(outlook.smallest_n_per_mm)} is found in fewer than half of such sweeps.`,
          asSentence(outlook.scatter),
        ].filter(Boolean).join(" ")]
      : []),
    asSentence(outlook.best.sentence),
    ...outlook.cautions.map(asSentence),
  ];
}

/** What the rider is asked after each step, in this order; the daemon's names are those of daq/fit/step_notes.py. */
const QUESTIONS = /** @type {const} */ ([
  ["hands", "weight on the hands"],
  ["saddle", "discomfort on the saddle"],
  ["effort", "effort"],
]);

/**
 * The open question and its words; null when there is no step to ask about. After the last one, the first is open again.
 * @param {State} state @returns {{what: string, words: string}|null}
 */
export function questionNow({ sweep }) {
  if (!sweep || typeof sweep.noted_step !== "number") return null;
  const given = sweep.notes ?? {};
  const [what, words] = QUESTIONS.find(([name]) => given[name] === undefined) ?? QUESTIONS[0];
  const said = QUESTIONS.filter(([name]) => given[name] !== undefined).map(([name]) => `${name} ${number(given[name])}`);
  const step = `Step ${number(sweep.noted_step + 1)}`;
  if (said.length === QUESTIONS.length) return { what, words: `${step}: ${said.join(", ")}. Again ${words}?` };
  return { what, words: `${step}: ${words}, 0–10?${said.length ? ` (${said.join(", ")})` : ""}` };
}
