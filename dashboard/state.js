/**
 * Everything the page knows, and the one pure way it changes: reduce(state, message).
 *
 * Messages come from the daemon (daq/live/telling/messages.py lists them) or from the page itself; the page's own are
 * named "page/...". `received_ms` is the page's clock, stamped on arrival, so nothing in here asks for the time.
 *
 * @typedef {import("./messages.js").Source} Source @typedef {import("./messages.js").Sweep} Sweep
 * @typedef {import("./messages.js").Step} Step @typedef {import("./messages.js").Onset} Onset
 * @typedef {import("./messages.js").Stroke} Stroke @typedef {import("./messages.js").Shares} Shares
 * @typedef {import("./messages.js").Bench} Bench @typedef {import("./messages.js").Doubt} Doubt
 * @typedef {import("./messages.js").Notice & {received_ms?: number, seen?: boolean}} Notice
 * @typedef {{theme: "auto"|"light"|"dark", beeps: boolean, speech: boolean,
 *   decimal: "auto"|"point"|"comma", letters: boolean, awake: boolean, one_by_one: boolean}} Settings
 * @typedef {{received_ms: number}} Arrival
 *
 * @typedef {object} State
 * @property {{state: "opening"|"open"|"lost", retry_ms: number, over: boolean}} link over: the daemon said that it ends
 * @property {string} version of the daemon
 * @property {boolean} simulated
 * @property {boolean} recording
 * @property {import("./messages.js").Rig|null} rig
 * @property {import("./messages.js").Rider|null} rider
 * @property {import("./messages.js").Calibration|null} calibration
 * @property {any} visit the open visit as daq/live/telling/view.py tells it; null without a client
 * @property {Bench|null} bench the guided calibration under way
 * @property {Doubt[]} doubts what makes the loads shown now doubtful
 * @property {{hands: number|null, saddle: number|null}|null} expanded_n of the loads shown now, N, 95 %
 * @property {string|null} taken_by who has the jig: sweep, bench or proof
 * @property {Source[]} sources
 * @property {number|null} sources_ms when `sources` arrived
 * @property {Arrival|null} loads when the last block of raw loads arrived
 * @property {Stroke|null} stroke the last one
 * @property {number|null} stroke_ms when it arrived
 * @property {Sweep|null} sweep
 * @property {Step[]} steps finished, by index
 * @property {Onset|null} onset
 * @property {{steps: Step[], line: Onset["line"]|null}|null} ghost the visit's sweep before this one
 * @property {{visit_id: number, on: string, steps: {setback_mm: number, hand_load_n: number}[], line: Onset["line"]|null}|null} before
 *   the sweep that the client's last decision rests on
 * @property {Notice[]} notices the newest last
 * @property {number|null} entry_mm the setback offered for confirmation
 * @property {boolean} entered whether the fitter changed it: then it counts, whatever the jig reads by itself
 * @property {{setback_mm: number, placed: import("./messages.js").Placed}|null} beside what belongs to a setback entered
 *   instead of the requested one, as the daemon answers it
 * @property {Record<string, number>} corrections what was set differently from what was asked, by the field names of a setting
 * @property {number} ticked parts of this move confirmed so far, when each is confirmed separately
 * @property {string|null} sending the request to the daemon that is not answered yet
 * @property {string|null} unstopped what to do while a stop is not confirmed
 * @property {string|null} problem why the daemon refused the last request
 * @property {string|null} problem_see the place where that is done which has to be done first
 * @property {string|null} problem_code names a refusal that can be answered, such as "doubted"
 * @property {boolean} table_shown
 * @property {boolean} panel_shown
 * @property {Settings} settings
 */

const NOTICES_KEPT = 50;
const GHOST_STEPS = 3;

/** @type {Settings} */
export const DEFAULT_SETTINGS = Object.freeze({
  theme: "auto",
  beeps: true,
  speech: false,
  decimal: "auto",
  letters: true,
  awake: true,
  one_by_one: false,
});

/** @type {State} */
export const initial = Object.freeze({
  link: Object.freeze({ state: "opening", retry_ms: 0, over: false }),
  version: "",
  simulated: false,
  recording: false,
  rig: null,
  rider: null,
  calibration: null,
  visit: null,
  bench: null,
  doubts: [],
  taken_by: null,
  expanded_n: null,
  sources: [],
  sources_ms: null,
  loads: null,
  stroke: null,
  stroke_ms: null,
  sweep: null,
  steps: [],
  onset: null,
  ghost: null,
  before: null,
  notices: [],
  entry_mm: null,
  entered: false,
  beside: null,
  corrections: {},
  ticked: 0,
  sending: null,
  unstopped: null,
  problem: null,
  problem_code: null,
  problem_see: null,
  table_shown: false,
  panel_shown: false,
  settings: DEFAULT_SETTINGS,
});

/** The mark that pauses the sweep, in the daemon's words. */
export const PAIN = "pain or numbness";

/** The setback offered for confirmation: the requested one, whenever a new position is requested. */
function entryAfter(/** @type {State} */ state, /** @type {Sweep|null} */ sweep) {
  if (!sweep) return { entry_mm: null, entered: false, beside: null };
  return asksAnew(state.sweep, sweep) ? { entry_mm: sweep.asked_setback_mm, entered: false, beside: null, corrections: {}, ticked: 0 } : {};
}

function asksAnew(/** @type {Sweep|null} */ before, /** @type {Sweep} */ sweep) {
  return (
    !before ||
    before.sweep_id !== sweep.sweep_id ||
    before.step !== sweep.step ||
    before.asked_setback_mm !== sweep.asked_setback_mm ||
    (sweep.state === "moving" && before.state !== "moving")
  );
}

/**
 * A caution about the position ends once its recording begins or the position is undone, one about the end of a sweep
 * once that goes on; an alarm stays until it is dismissed, an alarm about pain until the fitter lets the ride go on.
 */
function noticesAfter(/** @type {State} */ state, /** @type {Sweep} */ sweep) {
  const begins = sweep.state === "averaging" && state.sweep?.state !== "averaging";
  const undone = sweep.setback_mm === null && typeof state.sweep?.setback_mm === "number";
  const eased = state.sweep?.pain === true && !sweep.pain;
  const goes_on = state.sweep?.accepts.length === 0 && sweep.accepts.length > 0;
  if (!begins && !undone && !eased && !goes_on) return state.notices;
  return state.notices.map((notice) => (eased || notice.level !== "alarm" ? { ...notice, seen: true } : notice));
}

/** The stop is no longer waited for once the sweep has ended. */
function unstoppedAfter(/** @type {State} */ state, /** @type {Sweep|null} */ sweep) {
  return sweep?.accepts.includes("stop") ? state.unstopped : null;
}

/** What was ridden stays behind the next sweep's chart as a ghost; too few steps leave none. */
function ghostOf(/** @type {State} */ { steps, onset, ghost }) {
  return steps.length < GHOST_STEPS ? ghost : { steps, line: onset?.line ?? null };
}

function withoutType(/** @type {any} */ message) {
  const { type, received_ms, ...rest } = message;
  return rest;
}

/**
 * What lies behind the chart: the visit's sweep before this one, else the sweep of the client's last decision; null for
 * nobody else's. @param {State} state
 */
export function behind({ ghost, before, visit }) {
  if (ghost) return { ...ghost, on: null };
  return before && before.visit_id === visit?.id ? before : null;
}

/** @type {Record<string, (state: State, message: any) => State>} */
const HANDLERS = {
  snapshot: (state, m) => ({
    ...state,
    version: m.version,
    simulated: m.simulated,
    recording: m.recording,
    rig: m.rig,
    rider: m.rider,
    calibration: m.calibration,
    visit: m.visit ?? null,
    bench: m.bench ?? null,
    doubts: m.doubts ?? [],
    taken_by: m.taken_by ?? null,
    sources: m.sources,
    sources_ms: m.received_ms ?? null,
    loads: null,
    stroke: null,
    stroke_ms: null,
    sweep: m.sweep,
    steps: m.steps,
    onset: m.onset,
    ghost: null,
    notices: m.notices.map((/** @type {Notice} */ notice, /** @type {number} */ i) => ({
      ...notice,
      received_ms: m.received_ms,
      seen: i < m.notices.length - 1 || (notice.pain && !m.sweep?.pain),
    })),
    unstopped: unstoppedAfter(state, m.sweep),
    ...entryAfter(state, m.sweep),
  }),
  visit: (state, m) => ({ ...state, visit: m.visit, ghost: m.visit?.id === state.visit?.id ? state.ghost : null }),
  bench: (state, m) => ({ ...state, bench: m.bench }),
  sources: (state, m) => ({
    ...state,
    sources: m.sources,
    doubts: m.doubts ?? [],
    taken_by: m.taken_by ?? null,
    expanded_n: m.expanded_n ?? null,
    sources_ms: m.received_ms ?? null,
  }),
  stroke: (state, m) => ({ ...state, stroke: withoutType(m), stroke_ms: m.received_ms ?? null }),
  sweep: (state, m) => {
    const sweep = withoutType(m);
    const isNew = state.sweep?.sweep_id !== sweep.sweep_id;
    return {
      ...state,
      sweep,
      steps: isNew ? [] : state.steps,
      onset: isNew ? null : state.onset,
      ghost: isNew ? ghostOf(state) : state.ghost,
      ...entryAfter(state, sweep),
      notices: noticesAfter(state, sweep),
      unstopped: unstoppedAfter(state, sweep),
    };
  },
  // Undoing a step also removes the answer that rested on it; the next step brings a new one.
  steps: (state, m) => ({ ...state, steps: m.steps, onset: m.steps.length < state.steps.length ? null : state.onset }),
  onset: (state, m) => ({ ...state, onset: withoutType(m) }),
  notice: (state, m) => {
    const fresh = { ...withoutType(m), received_ms: m.received_ms };
    return { ...state, notices: [...state.notices, fresh].slice(-NOTICES_KEPT) };
  },

  "page/loads": (state, m) => ({ ...state, loads: { received_ms: m.received_ms } }),
  "page/before": (state, m) => ({ ...state, before: m.before && { ...m.before, visit_id: m.visit_id } }),
  "page/link": (state, m) => ({ ...state, link: { state: m.state, retry_ms: m.retry_ms, over: m.over } }),
  // What was ticked is not so any more.
  "page/entry": (state, m) => ({ ...state, ticked: 0, entered: true, entry_mm: state.entry_mm === null ? null : state.entry_mm + m.by_mm }),
  "page/beside": (state, m) => ({ ...state, beside: { setback_mm: m.setback_mm, placed: m.placed } }),
  "page/tick": (state) => ({ ...state, ticked: state.ticked + 1 }),
  "page/correction": (state, m) => {
    const { [m.name]: _, ...others } = state.corrections;
    return { ...state, corrections: m.value === null ? others : { ...others, [m.name]: m.value } };
  },
  "page/sending": (state, m) => ({ ...state, sending: m.what, problem: null, problem_code: null }),
  "page/sent": (state, m) => ({ ...state, sending: null, unstopped: m.what === "stop" ? null : state.unstopped }),
  "page/unstopped": (state, m) => ({ ...state, sending: null, unstopped: m.text }),
  "page/refused": (state, m) => ({ ...state, sending: null, problem: m.text, problem_code: m.code ?? null, problem_see: m.see ?? null }),
  // A refusal belongs to the screen where the request was made; an unconfirmed stop belongs to all screens.
  "page/screen": (state) => ({ ...state, problem: null }),
  "page/seen": (state) => ({
    ...state,
    notices: state.notices.map((notice) => ({ ...notice, seen: true })),
    unstopped: null,
    problem: null,
  }),
  "page/table": (state) => ({ ...state, table_shown: !state.table_shown }),
  "page/panel": (state, m) => ({ ...state, panel_shown: m.shown ?? !state.panel_shown }),
  "page/settings": (state, m) => ({ ...state, settings: { ...state.settings, ...withoutType(m) } }),
};

/**
 * The state after one message. An unknown type changes nothing: a newer daemon may send more.
 * @param {State} state
 * @param {any} message
 * @returns {State}
 */
export function reduce(state, message) {
  const handler = HANDLERS[message.type];
  return handler ? handler(state, message) : state;
}
