/**
 * An act that the daemon would refuse is refused before it is tried: its button is off, and the reason stands beside it.
 *
 * @typedef {import("./state.js").State} State
 */
import { el, setAttribute, setText } from "./dom.js";
import { placeSpokenOf } from "./trade_words.js";

/** Who has the jig, and how it becomes free: daq/live/session/occupied.py. */
const TAKEN = /** @type {Record<string, string>} */ ({
  sweep: "A sweep is under way: stop or finish it first.",
  bench: "A guided calibration is under way: finish or leave it first.",
  proof: "A proof of the jig is under way: finish or leave it first.",
});

/** Why the jig is not free, in words; empty when it is. @param {State} state @param {string[]} [by] whose use of it is in the way */
export function jigTaken({ sweep, taken_by }, by = ["sweep", "bench", "proof"]) {
  const rides = sweep !== null && sweep.state !== "waiting" && sweep.accepts.includes("stop");
  const who = rides ? "sweep" : taken_by === "sweep" ? null : taken_by;
  return who && by.includes(who) ? TAKEN[who] : "";
}

/** Why no load can be read; empty when one can. @param {State} state */
export function noLoads({ rig, sources }) {
  if (!rig) return "The jig has not been heard yet.";
  if (rig.typed) return "";
  const board = sources.find(({ kind }) => kind === "board");
  return board?.state === "absent" ? "The board has sent nothing yet: see its cable and power." : "";
}

/** Why an event of the sweep cannot be sent now; empty when it can. @param {State} state @param {string} event */
export function notNow({ sweep }, event) {
  if (sweep?.accepts.includes(event)) return "";
  if (!sweep || sweep.state === "waiting") return "The sweep has not begun.";
  if (!sweep.accepts.length) return "The sweep has ended.";
  if (sweep.state === "paused") return "Resume first.";
  return event === "redo" ? "Redo: nothing is ridden yet." : event === "undo" ? "Undo: no setback is entered yet." : "Not now.";
}

/** The screen a sentence speaks of, as a link away from it; null on that screen. @param {string} text */
function placeLink(text) {
  const place = placeSpokenOf(text);
  return place && place.to !== location.hash ? { to: place.to, words: `To ${place.words}` } : null;
}

/** A refusal with the link to the place it speaks of, for a paragraph. @param {string} text @returns {(string|Node)[]} */
export function refusal(text) {
  const place = placeLink(text);
  return place ? [`${text} `, el("a", { href: place.to }, place.words)] : [text];
}

let made = 0;

/** The place of the reason beside a button or some, and what turns them off. @param {...HTMLButtonElement} buttons */
export function barred(...buttons) {
  const words = el("span", {});
  const there = el("a", {});
  const node = el("small", { class: "barred", id: `barred-${++made}`, hidden: true }, words, " ", there);
  return {
    node,
    /** @param {string} why empty: it may be done @param {boolean} [busy] something is asked of the daemon */
    draw(why, busy = false) {
      for (const button of buttons) {
        setAttribute(button, "disabled", busy || why !== "");
        setAttribute(button, "aria-describedby", why ? node.id : null);
      }
      setAttribute(node, "hidden", !why);
      setText(words, why);
      const place = why ? placeLink(why) : null;
      setAttribute(there, "hidden", !place);
      setAttribute(there, "href", place?.to);
      setText(there, place?.words ?? "");
    },
  };
}
