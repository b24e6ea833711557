/** Saves what is typed: a moment after the last key, at once when the field or the screen is left. */
import { ask } from "./commands.js";

/** @typedef {import("./store.js").Store} Store */

const IDLE_MS = 1200;
const BUSY_MS = 100;

/**
 * @param {Store} store @param {string} what
 * @param {() => {path: string, body: object}|null} read what to save now; null when there is nobody to save it for
 * @param {(said: string) => void} tell
 */
export function saving(store, what, read, tell) {
  let timer = 0;
  /** @type {Promise<void>} */
  let last = Promise.resolve();
  let waiting = false;

  function touched() {
    waiting = true;
    clearTimeout(timer);
    timer = setTimeout(flush, IDLE_MS);
    tell("not kept yet");
  }
  /** Saves what is typed now; resolves once it is on the disk or refused. */
  function flush() {
    clearTimeout(timer);
    if (!waiting) return last;
    const now = read();
    waiting = false;
    if (now) last = last.then(() => keep(now));
    return last;
  }
  async function keep(/** @type {{path: string, body: object}} */ { path, body }) {
    tell("keeping …");
    // Another command may be under way; this one comes after it.
    while (store.state.sending !== null) await new Promise((later) => setTimeout(later, BUSY_MS));
    const kept = await ask(store, what, "PUT", path, body);
    tell(kept ? (waiting ? "not kept yet" : "kept as typed") : "not kept: see the line above");
  }
  return { touched, flush };
}
