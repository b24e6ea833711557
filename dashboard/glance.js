/**
 * The ride at a glance: one word, one shape, one colour, the same on the fitter's screen and the rider's; and for a
 * fault what happened, what to do about it, and what waits meanwhile. Pure.
 *
 * @typedef {import("./state.js").State} State
 * @typedef {"ready"|"move"|"settle"|"record"|"waits"|"fault"|"rest"|"done"} Kind
 * @typedef {{happened: string, act: string, then: string, still: string, rider: string}} Trouble
 * @typedef {{kind: Kind, word: string, said: string, rider: string, trouble: Trouble|null}} Glance
 */
import { loadsFreshness, powerFreshness } from "./fresh.js";
import { number, seconds } from "./format.js";
import { inTradeWords } from "./trade_words.js";

const RIDDEN = ["settling", "averaging"];
export const PEDAL = "Keep pedalling";

/** @param {State} state @param {number} now_ms @returns {Glance} */
export function glance(state, now_ms) {
  const { sweep } = state;
  const wrong = trouble(state, now_ms);
  if (wrong) return { kind: "fault", word: sweep?.over ? "OVER" : sweep?.pain ? "PAIN" : "FAULT", said: wrong.happened, rider: wrong.rider, trouble: wrong };
  const plainly = (/** @type {Kind} */ kind, /** @type {string} */ word, /** @type {string} */ said, /** @type {string} */ rider) => ({ kind, word, said, rider, trouble: null });
  switch (sweep?.state) {
    case "waiting":
      return plainly("ready", "READY", "the rider warms up", "");
    case "moving":
      return state.rig?.self_locking
        ? plainly("move", "MOVE", "the slide locks by itself: rider keeps still", "Keep still: the saddle is being moved")
        : plainly("move", "MOVE", "clamp open: rider off the jig", "Off the jig: the saddle is being moved");
    case "settling":
      return sweep.settle_left_s === 0 && !state.rig?.typed ? plainly("waits", "WAIT", inTradeWords(sweep.why_waiting ?? "") || "not steady yet", PEDAL) : plainly("settle", "SETTLE", "keep pedalling, hands where they are", PEDAL);
    case "averaging":
      return sweep.in_band === false ? plainly("waits", "WAIT", inTradeWords(sweep.why_waiting ?? "") || "outside the band", PEDAL) : plainly("record", "RECORD", "keep pedalling, hands where they are", PEDAL);
    case "paused":
      return plainly("rest", "REST", "the rider rests", "Rest");
    case "finished":
      return plainly("done", "DONE", "the rider spins down", "Done. Spin down.");
    case "stopped":
      return plainly("done", "STOPPED", "rider off the jig first", "Stop pedalling");
    default:
      return plainly("ready", "READY", "nothing is planned", "");
  }
}

/** What stops the ride through no fault of the rider's; null while nothing does. */
function trouble(/** @type {State} */ state, /** @type {number} */ now_ms) {
  const { sweep } = state;
  if (state.unstopped) return unanswered(state);
  if (sweep?.over) return over(sweep.over);
  if (sweep?.pain && sweep.state === "paused") return pain(state);
  if (!sweep || !sweep.accepts.includes("stop") || sweep.state === "waiting") return null;
  if (state.link.state === "lost") return unlinked();
  const loads = loadsFreshness(state, now_ms);
  if (state.sources_ms !== null && !loads.live && loads.words !== "no data yet") return silentCells(state, now_ms);
  const power = state.sources.find((source) => source.kind === "power");
  if (power && power.state !== "live" && RIDDEN.includes(sweep.state) && !powerFreshness(state, now_ms).live) return silentPower(state, power.age_s);
  return null;
}

/** @returns {Trouble} */
function unanswered(/** @type {State} */ { unstopped }) {
  return {
    happened: "the stop is not confirmed",
    act: "Stop the rider yourself.",
    then: unstopped ?? "",
    still: "",
    rider: "Stop pedalling",
  };
}

/** @returns {Trouble} */
function pain(/** @type {State} */ { sweep }) {
  const again = sweep?.asked_setback_mm === null || sweep?.asked_setback_mm === undefined ? "" : ` The step at ${number(sweep.asked_setback_mm)} mm would start again.`;
  return {
    happened: "the rider reported pain or numbness",
    act: "Stop pedalling.",
    then: sweep?.pain_told ? `Go on only when it is gone.${again}` : "Ask the rider, then save the answer.",
    still: "Chest pain, dizziness, numbness or weakness: the ride is over today. Get help if it does not pass.",
    rider: "Stop pedalling",
  };
}

/** @param {string} red @returns {Trouble} */
function over(red) {
  return {
    happened: `the rider reported ${red}`,
    act: "The ride is over today.",
    then: "Rider off the jig first. Get help if it does not pass; what was recorded is kept.",
    still: "",
    rider: "Stop. The ride is over today.",
  };
}

/** @returns {Trouble} */
function unlinked() {
  return {
    happened: "no connection to the jig’s computer",
    act: "Let the rider stop. Check that the jig’s computer is running.",
    then: "It goes on recording what it receives; this page reconnects by itself.",
    still: "",
    rider: "You may stop: the connection is being fixed",
  };
}

/** @returns {Trouble} */
function silentCells(/** @type {State} */ state, /** @type {number} */ now_ms) {
  const { words } = loadsFreshness(state, now_ms);
  return {
    happened: words === "absent" ? "nothing from the load cells" : `${words.replace("no data", "no data from the load cells for")}: check the board’s cable`,
    act: "Plug the board in again. The rider may stop.",
    then: kept(state),
    still: "Still nothing after a minute? Swap the cable, then the port.",
    rider: "You may stop: a cable is being fixed",
  };
}

/** @returns {Trouble} */
function silentPower(/** @type {State} */ state, /** @type {number|null} */ age_s) {
  return {
    happened: age_s === null ? "nothing from the power sensor" : `no power for ${seconds(age_s)}`,
    act: "Wake the power sensor: turn the cranks.",
    then: kept(state),
    still: "Still nothing after a minute? Change its battery, or ride on where torque is not needed.",
    rider: PEDAL,
  };
}

/** How much of the step is kept, and that it goes on by itself. */
function kept(/** @type {State} */ { sweep }) {
  if (sweep?.state !== "averaging" || sweep.dwell_left_s === null) return "The step goes on by itself. Nothing recorded is lost.";
  return `The step goes on by itself: ${number(sweep.dwell_s - sweep.dwell_left_s)} of ${number(sweep.dwell_s)} s are kept.`;
}
