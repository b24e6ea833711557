/**
 * An act that the daemon would refuse is refused before it is tried: its button is off, and the reason stands beside it.
 *
 * @typedef {import("./state.js").State} State
 * @typedef {{text: string, see?: string|null}} Reason why something cannot be done now; see: where that can be changed
 */
import { el, setAttribute, setText } from "./dom.js";

/** The screens of the places that the daemon names in refusals and notices: `See` of daq/refusals.py. */
export const PLACES = /** @type {Record<string, {to: string, words: string}>} */ ({
  client: { to: "#client", words: "Client" },
  checks: { to: "#checks", words: "Checks" },
  plan: { to: "#plan", words: "Plan" },
  ride: { to: "#run", words: "Run" },
  proof: { to: "#prove", words: "Proof" },
  bench: { to: "#bench", words: "Bench" },
});

/** Who has the jig, and how it becomes free: daq/live/session/occupied.py. */
const TAKEN = /** @type {Record<string, Reason>} */ ({
  sweep: { text: "A sweep is under way: stop or finish it first.", see: "ride" },
  bench: { text: "A guided calibration is under way: finish or leave it first.", see: "bench" },
  proof: { text: "A proof of the jig is under way: finish or leave it first.", see: "proof" },
});

/** Why the jig is not free; null when it is. @param {State} state @param {string[]} [by] whose use of it is in the way */
export function jigTaken({ sweep, taken_by }, by = ["sweep", "bench", "proof"]) {
  const rides = sweep !== null && sweep.state !== "waiting" && sweep.accepts.includes("stop");
  const who = rides ? "sweep" : taken_by === "sweep" ? null : taken_by;
  return who && by.includes(who) ? TAKEN[who] : null;
}

/** Why no load can be read; null when one can. @param {State} state @returns {Reason|null} */
export function noLoads({ rig, sources }) {
  if (!rig) return { text: "The jig has not been heard yet." };
  if (rig.typed) return null;
  const board = sources.find(({ kind }) => kind === "board");
  return board?.state === "absent" ? { text: "The board has sent nothing yet: see its cable and power." } : null;
}

/** Why an event of the sweep cannot be sent now; empty when it can. @param {State} state @param {string} event */
export function notNow({ sweep }, event) {
  if (sweep?.accepts.includes(event)) return "";
  if (!sweep || sweep.state === "waiting") return "The sweep has not begun.";
  if (!sweep.accepts.length) return "The sweep has ended.";
  if (sweep.state === "paused") return "Resume first.";
  return event === "redo" ? "Redo: nothing is ridden yet." : event === "undo" ? "Undo: no setback is entered yet." : "Not now.";
}

/** The screen of a place as a link away from here; null on that screen. @param {string|null|undefined} see */
function placeLink(see) {
  const place = see ? PLACES[see] : null;
  return place && place.to !== location.hash ? { to: place.to, words: `To ${place.words}` } : null;
}

/** A refusal with the link to the place it names, for a paragraph. @param {Reason} reason @returns {(string|Node)[]} */
export function refusal({ text, see }) {
  const place = placeLink(see);
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
    /** @param {Reason|null} why null: it may be done @param {boolean} [busy] something is asked of the daemon */
    draw(why, busy = false) {
      for (const button of buttons) {
        setAttribute(button, "disabled", busy || why !== null);
        setAttribute(button, "aria-describedby", why ? node.id : null);
      }
      setAttribute(node, "hidden", !why);
      setText(words, why?.text ?? "");
      const place = placeLink(why?.see);
      setAttribute(there, "hidden", !place);
      setAttribute(there, "href", place?.to);
      setText(there, place?.words ?? "");
    },
  };
}
