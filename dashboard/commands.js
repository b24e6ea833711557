/**
 * What the page asks of the daemon, over HTTP. A refusal arrives as RFC 9457 problem details and is shown in the words
 * of the trade.
 *
 * @typedef {import("./store.js").Store} Store
 */

import { confirmed, readSetback } from "./moving.js";
import { PAIN } from "./state.js";
import { inTradeWords } from "./trade_words.js";

const SWEEP_EVENTS = "/api/v1/sweep/events";
const MARKS = "/api/v1/marks";
const SWEEPS = "/api/v1/sweeps";
const PATIENCE_MS = 5000;
const STOP_AGAIN_MS = 1000;
/** The answer to a command that was carried out and is not on the disk. */
const DONE_NOT_STORED = 507;

/** The daemon said no, or said nothing. */
export class Refused extends Error {
  /**
   * @param {string} text
   * @param {{code?: string, see?: string, status?: number, cause?: unknown}} [more] code: names a refusal that can be
   *   answered; see: the place where that is done which has to be done first; no status: there was no answer
   */
  constructor(text, { code, see, status, cause } = {}) {
    super(text, { cause });
    this.code = code ?? null;
    this.see = see ?? null;
    this.status = status ?? null;
  }
}

/**
 * @param {string} path @param {object|undefined} body @param {string} method @param {number} patience_ms
 * @returns {Promise<any>}
 */
async function post(path, body, method = "POST", patience_ms = PATIENCE_MS) {
  let response;
  try {
    response = await fetch(path, {
      method,
      headers: { "content-type": "application/json" },
      body: body && JSON.stringify(body),
      signal: AbortSignal.timeout(patience_ms),
    });
  } catch (error) {
    throw new Refused("The daemon did not answer; this may or may not have been done.", { cause: error });
  }
  if (response.ok) return response.json().catch(() => null);
  const problem = await response.json().catch(() => ({}));
  const text = problem.detail ? inTradeWords(problem.detail) : `The daemon refused this (${response.status}).`;
  throw new Refused(text, { code: problem.code, see: problem.see, status: response.status });
}

/** These are sent at once, whatever is in progress, and cancel what was pressed before them. */
const URGENT = ["stop", "pain"];

/**
 * Sends one command, shows that it is in progress, and shows a refusal. True when done.
 * An answer that holds the state of a sweep, a bench or a visit is shown before the next command runs: the next press
 * is meant for that state.
 * @param {Store} store
 * @param {string} what
 * @param {() => Promise<any>} ask
 */
async function attempt(store, what, ask) {
  if (URGENT.includes(what)) store.forgetTurns();
  else if (store.state.sending !== null) return false;
  store.dispatch({ type: "page/sending", what });
  try {
    const answer = await ask();
    if (typeof answer?.state === "string") store.dispatch({ ...answer, type: "sweep" });
    if (Array.isArray(answer?.checks)) store.dispatch({ type: "visit", visit: answer });
    if (typeof answer?.stage === "string") store.dispatch({ type: "bench", bench: answer });
    store.dispatch({ type: "page/sent", what });
    return true;
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    if (what === "stop" && error.status !== DONE_NOT_STORED) insist(store, error);
    else store.dispatch({ type: "page/refused", text: error.message, code: error.code, see: error.see });
    return false;
  }
}

/** @type {ReturnType<typeof setTimeout>} */
let again;

/**
 * A stop that did not act is an alarm. One that got no answer is sent again until there is one, until the alarm is
 * dismissed, or until another sweep is on the screen: a second stop does no harm, a lost one does.
 * @param {Store} store @param {Refused} error
 */
function insist(store, error) {
  store.dispatch({ type: "page/unstopped", text: `STOP IS NOT CONFIRMED, stop the rider yourself. ${error.message}` });
  const of = store.state.sweep?.sweep_id;
  clearTimeout(again);
  if (error.status !== null) return;
  again = setTimeout(() => {
    if (store.state.unstopped && store.state.sweep?.sweep_id === of) sendEvent(store, "stop");
  }, STOP_AGAIN_MS);
}

/** @param {Store} store @param {string} event one of the sweep's `accepts` */
export function sendEvent(store, event) {
  const setting = confirmed(store.state);
  const setback_mm = readSetback(store.state) === null ? store.state.entry_mm : null;
  const body = event === "saddle_moved" ? { event, setback_mm, ...(setting && { setting }) } : { event };
  return attempt(store, event, () => post(SWEEP_EVENTS, body));
}

/** @param {Store} store @param {string} text */
export function sendMark(store, text) {
  return attempt(store, text === PAIN ? "pain" : "mark", async () => void (await post(MARKS, { text })));
}

/**
 * Asks anything else of the daemon: returns its answer, true if that is empty, null if it was refused.
 * @param {Store} store @param {string} what @param {string} method @param {string} path @param {object} body
 * @param {number} [patience_ms]
 * @returns {Promise<any>}
 */
export async function ask(store, what, method, path, body, patience_ms) {
  let said;
  const done = await attempt(store, what, async () => (said = await post(path, body, method, patience_ms)));
  return done ? (said ?? true) : null;
}

/**
 * What a path returns, or its answer to a body that changes nothing; a refusal as {problem, see}.
 * @param {string} path @param {object} [body] @param {number} [patience_ms]
 * @returns {Promise<any>}
 */
export async function look(path, body, patience_ms) {
  try {
    return await post(path, body, body ? "POST" : "GET", patience_ms);
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    return { problem: error.message, see: error.see };
  }
}

/** Goes on with a sweep that has ended; no positions: with what is left of its plan. @param {Store} store @param {number[]} positions_mm */
export function sendMore(store, positions_mm) {
  return attempt(store, "more", () => post("/api/v1/sweep/more", { positions_mm }));
}

/** @param {Store} store @param {object} plan */
export function sendPlan(store, plan) {
  return attempt(store, "plan", () => post(SWEEPS, plan));
}
