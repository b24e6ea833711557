/**
 * What the answer is, in sentences: its name, why, what it rests on, what to do without one.
 * Pure functions from state to words.
 *
 * @typedef {import("./state.js").State} State
 * @typedef {import("./state.js").Sweep} Sweep
 * @typedef {import("./state.js").Onset} Onset
 */
import { behind } from "./state.js";
import { counted, day, newtons, number, percent, range, roundedBack, slope } from "./format.js";
import { asSentence } from "./trade_words.js";

export const FORWARD_LIMIT = "A limit for coming forward, not a target for going back.";

/** Fewest steps the daemon answers from. */
const FEWEST_POSITIONS = 5;

/** Whether a setback may be named. @param {Onset|null} onset @returns {onset is Onset & {onset_mm: number}} */
export function isNamed(onset) {
  return onset?.verdict === "onset" && onset.onset_mm !== null;
}

const HEADLINES = {
  onset: "Onset",
  "light-throughout": "No onset: hands light throughout",
  "loaded-throughout": "No onset: hands loaded throughout",
  "rise-seen": "Rise seen, effort not measured",
  undecided: "Undecided: no onset can be named",
};

/** @type {Record<string, string>} */
const LOOKS = { confirm: "Confirm ride: no onset is looked for", check: "Check of a few places: no onset is looked for" };

export function answerRange(/** @type {Onset} */ onset) {
  return `${number(onset.onset_mm, 1)} mm, 95 % ${range(onset.interval_95_mm, "mm", 1)}`;
}

/** The answer in one line, "so far" while steps are still to come. @param {State} state */
export function headline({ onset, steps, sweep }) {
  if (sweep && sweep.purpose !== "onset") return LOOKS[sweep.purpose] ?? "No onset is looked for";
  if (!onset)
    return steps.length < FEWEST_POSITIONS
      ? `No answer yet: ${steps.length} of at least ${FEWEST_POSITIONS} steps`
      : "No answer yet";
  const text = HEADLINES[/** @type {keyof typeof HEADLINES} */ (onset.verdict)] ?? onset.verdict;
  if (!sweep?.accepts.includes("stop")) return text;
  return text.includes(":") ? text.replace(":", " so far:") : `${text} so far`;
}

const MEANING = {
  "light-throughout": "Hand load did not start to rise anywhere in this sweep.",
  "loaded-throughout":
    "Hand load was already rising at the rear end of this sweep: an onset, if there is one, lies further back.",
  "rise-seen":
    "Hand load began to rise, but the effort, which moves it as much, was not measured: no setback is named.",
  undecided: "The steps do not support a verdict yet, so no setback is named.",
};

/** What an answer rests on, where it does not rest on everything: read off a scale, only held, not measured. @param {{grade: string, all_measured: boolean}|null|undefined} onset */
export const restsOn = (onset) => (onset && !onset.all_measured ? asSentence(onset.grade) : "");

/** The caution beside a named onset, and what the answer does not rest on. @param {Onset|null|undefined} onset */
export function besideTheNumber(onset) {
  return [onset?.caution ? asSentence(onset.caution) : "", restsOn(onset)].filter(Boolean).join(" ");
}

/**
 * Reasons for the answer, plain sentences, the page's own first. What to do is said once: not again where `told` says it.
 * @param {Onset|null} onset @param {string} [told] what the screen says beside @returns {string[]}
 */
export function reasons(onset, told = "") {
  if (!onset) return [];
  const meaning = MEANING[/** @type {keyof typeof MEANING} */ (onset.verdict)];
  const bend =
    onset.gradual && onset.verdict === "onset"
      ? "The rise is gradual: the number is the middle of the bend, and its start lies further back."
      : "";
  const others = curedOnce(onset, told);
  return [meaning, bend, onset.grade, ...others].filter((each) => Boolean(each)).map(asSentence);
}

/** The daemon's reasons but for the caution, which stands beside the number; a cure that was said is left out. */
function curedOnce(/** @type {Onset} */ { reasons: all, caution, validity }, /** @type {string} */ told) {
  let said = told;
  return all
    .filter((each) => each !== caution)
    .map((each) => {
      const test = (validity ?? []).find(({ means, cure }) => cure && each === `${means}: ${cure}`);
      const again = test && saysCure(said, test.cure);
      said += each;
      return again ? test.means : each;
    });
}

/** Whether a cure is among what is said, capitals apart. @param {string} told @param {string} cure */
export const saysCure = (told, cure) => told.toLowerCase().includes(cure.toLowerCase());

/** What no test of validity has said already: a table of them stands beside it. @param {Onset} onset */
export function reasonsBesideTests({ reasons: all, caution, validity }) {
  const tests = (validity ?? []).flatMap(({ means, cure }) => [means, `${means}: ${cure}`]);
  return all.filter((each) => each !== caution && !tests.includes(each) && !each.startsWith("not tested: "));
}

const NEXT = {
  "light-throughout": "To find one, ride a sweep further forward; else decide by comfort and the signs below.",
  "loaded-throughout": "To find one, ride a sweep that begins further back, as far as the saddle stays comfortable.",
  "rise-seen": "To name one, ride the sweep again with a power sensor linked throughout.",
  undecided: "To find one, ride more positions or record each for longer.",
};

/** Whether a test took the verdict, whatever the loads say. @param {Onset|null|undefined} onset */
export const spoilt = (onset) => (onset?.validity ?? []).some(({ forbids }) => forbids);

/** What to do without an onset, the first thing first, as the daemon orders it: daq/sweep/validity/cures.py. @param {Onset|null|undefined} onset @returns {string[]} */
export function nextAfter(onset) {
  const cures = (onset?.cures ?? []).map(asSentence);
  const next = NEXT[/** @type {keyof typeof NEXT} */ (onset?.verdict)];
  return cures.length || !next ? cures : [next];
}

/** The window to choose from and what it is for. @param {[number, number]|null} window_mm its front, the suggested setback, and its rear; null where nothing is suggested */
export function toChooseFrom(window_mm) {
  if (!window_mm) return "To find one, ride a sweep that begins further back.";
  const [front, rear] = window_mm.map((mm) => number(mm));
  const where = front === rear ? `${front} mm, the rearmost place ridden` : `from ${front} back to ${rear} mm`;
  return `To choose from: ${where}. ${FORWARD_LIMIT}`;
}

const MOST_CURES = 2;

/** What to do when there is no window to choose from. @param {Onset|null|undefined} onset */
export function withoutWindow(onset) {
  return ["No window: no onset is named.", ...nextAfter(onset).slice(0, MOST_CURES)].join(" ");
}

/** The probability of each of the three shapes. @param {Onset} onset */
export function chances(onset) {
  const [inside, light, loaded] = [onset.p_onset, onset.p_light, onset.p_loaded].map((p) => percent(p));
  const by = spoilt(onset) ? "By the loads alone, which cannot be relied on here" : "Chances";
  return `${by}: onset inside the sweep ${inside}, light throughout ${light}, loaded throughout ${loaded}.`;
}

/** Whether the place that the plan asks for is another day's, which only Decide shows. @param {Sweep|null} sweep */
export const goesByAnotherDay = (sweep) => sweep?.chance_of === "another day";

/** What the sweep's own suggestion is called. @param {Sweep|null} sweep */
export const suggestedName = (sweep) => (goesByAnotherDay(sweep) ? "Suggested by today’s chance" : "Suggested setback");

/** The onset chart in words, for screen readers. @param {State} state */
export function chartInWords(state) {
  const { onset, steps, sweep } = state;
  if (!steps.length) return "Hand load against setback. No step is finished yet.";
  const told = `Hand load against setback, ${counted(steps.length, "step")}.${behindInWords(state)}`;
  if (!isNamed(onset)) return `${told} ${asSentence(headline(state))}`;
  return (
    `${told} Onset at ${number(onset.onset_mm, 1)} mm behind the bottom bracket, ` +
    `95 % interval ${range(onset.interval_95_mm, "mm", 1)}. ` +
    `Behind it hand load is ${newtons(onset.light_load_n)}; ` +
    `forward of it the load rises by ${slope(onset.rise_n_per_mm)}. ` +
    (onset.suggested_setback_mm === null
      ? "No setback is suggested."
      : `${suggestedName(sweep)}: ${number(roundedBack(onset.suggested_setback_mm))} mm.`)
  );
}

function behindInWords(/** @type {State} */ state) {
  const ghost = behind(state);
  if (!ghost) return "";
  return ghost.on ? ` The sweep of the last decision, ${day(ghost.on)}, lies behind in grey.` : " The sweep before it lies behind in grey.";
}
