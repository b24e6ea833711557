/**
 * The visit as a line: what is done, where we are, what comes next, and what waits for what.
 * Pure functions from state, and the line drawn from them.
 *
 * @typedef {import("./state.js").State} State
 * @typedef {"done"|"open"|"waits"} Stands
 * @typedef {{to: string, words: string, stands: Stands, part: string, why: string}} Place
 */
import { changes, el, setAttribute, setText } from "./dom.js";
import { counted } from "./format.js";

/** Red-flag questions nobody has answered yet. @param {State} state */
export const openQuestions = ({ visit }) => visit?.unanswered?.length ?? 0;

/** Checks still open. @param {State} state */
export const openChecks = ({ visit }) =>
  (visit?.checks ?? []).filter((/** @type {any} */ check) => check.state === "open").length;

/** Whether the sweep on the page is over. @param {State} state */
const hasEnded = ({ sweep }) => sweep?.accepts.length === 0;

/** Whether today's intake has been entered. @param {State} state */
export const intakeIsKept = ({ visit }) => Boolean(visit?.intake && !visit.returning);

/** Where the printed page of the open visit is; empty without one. @param {State} state */
export const sheetOf = ({ visit }) => (visit ? `/api/v1/visits/${visit.id}/report` : "");

/** The places of a visit in the order of the job. @param {State} state @returns {Place[]} */
export function placesOf(state) {
  const { visit, sweep, steps } = state;
  const place = (/** @type {string} */ to, /** @type {string} */ words, /** @type {Stands} */ stands, part = "", why = "") => ({ to, words, stands, part, why });
  const left = openChecks(state);
  const asked = visit && !intakeIsKept(state) ? "open" : "done";
  const ridden = hasEnded(state) && steps.length > 0;
  const under_way = sweep && !hasEnded(state) && sweep.state !== "waiting";
  // What opens again while the rider rests is asked before the next sweep, not now.
  const begun = under_way || ridden;
  return [
    place("#client", "Client", visit && asked === "done" && !openQuestions(state) ? "done" : "open"),
    place("#plan", "Plan", sweep ? "done" : "open"),
    place("#checks", "Checks", !visit ? "waits" : visit.in_the_way && !begun ? "open" : "done", visit && left && !begun ? `${left} open` : "", visit ? "" : "a trial asks for no checks"),
    place("#run", "Run", ridden ? "done" : sweep ? "open" : "waits", under_way ? `${Math.min(steps.length + 1, sweep.steps_planned)} of ${sweep.steps_planned}` : "", sweep ? "" : "no sweep is planned"),
    place("#decide", "Decide", visit?.decision ? "done" : visit && ridden ? "open" : "waits", "", visit && ridden ? "" : "nothing is ridden yet"),
    place(sheetOf(state), "Sheet", visit?.decision ? "open" : "waits", "", visit?.decision ? "" : "nothing is decided yet"),
  ];
}

/**
 * The next thing to do in a visit that has not reached its end, whatever screen the fitter is on.
 * @param {State} state @returns {{to: string, words: string}}
 */
export function nextAct(state) {
  const { visit, sweep, steps } = state;
  const [questions, checks] = [openQuestions(state), openChecks(state)];
  if (!visit) return { to: "#client", words: "Choose a client" };
  if (!intakeIsKept(state)) return { to: "#client", words: "Fill in the intake" };
  if (questions) return { to: "#client", words: `Ask the ${counted(questions, "open question")}` };
  if (!sweep || (hasEnded(state) && !steps.length)) return { to: "#plan", words: "Plan the sweep" };
  if (!hasEnded(state) && sweep.state !== "waiting") return { to: "#run", words: "Back to the run" };
  if (!hasEnded(state) && checks) return { to: "#checks", words: `See to ${counted(checks, "open check")}` };
  if (!hasEnded(state) && visit.in_the_way) return { to: "#client", words: "See the client screen" };
  if (!hasEnded(state)) return { to: "#run", words: "To the run" };
  if (!visit.decision) return { to: "#decide", words: "Decide" };
  return { to: sheetOf(state), words: "Print the sheet" };
}

const MARKS = { done: "✓", open: "", waits: "" };
const SAID = { done: ", done", open: "", waits: ", waits" };

/** The line itself. @returns {{node: HTMLElement, draw: (state: State) => void}} */
export function visitLine() {
  const links = placesOf(/** @type {any} */ ({ steps: [] })).map(({ words }) => {
    const [mark, part, said] = [el("span", { "aria-hidden": "true" }), el("small", {}), el("span", { class: "unseen" })];
    return { mark, part, said, node: el("a", { class: "place" }, mark, words, part, said) };
  });
  const node = el("nav", { class: "visit-line", "aria-label": "The visit" }, ...links.map((each) => each.node));
  const moved = changes();
  return {
    node,
    draw(state) {
      const here = `#${document.documentElement.dataset.view}`;
      const next = nextAct(state).to;
      for (const [i, { to, words, stands, part, why }] of placesOf(state).entries()) {
        const link = links[i];
        setAttribute(link.node, "href", stands === "waits" && !to.startsWith("#") ? null : to);
        setAttribute(link.node, "target", to.startsWith("/") ? "_blank" : null);
        setAttribute(link.node, "data-stands", stands);
        setAttribute(link.node, "data-next", to === next && to !== here);
        setAttribute(link.node, "aria-current", to === here ? "page" : null);
        setAttribute(link.node, "aria-disabled", stands === "waits" && !to.startsWith("#") ? "true" : null);
        setAttribute(link.node, "title", why ? `${words}: ${why}` : null);
        setText(link.mark, MARKS[stands]);
        setText(link.part, part);
        setText(link.said, to === next && to !== here ? `${SAID[stands]}, next` : SAID[stands]);
      }
      // On a narrow screen the line scrolls: the current place has to be visible.
      if (moved(here)) node.querySelector("[aria-current]")?.scrollIntoView({ block: "nearest", inline: "center" });
    },
  };
}
