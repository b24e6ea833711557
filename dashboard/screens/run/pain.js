/** Where it hurts, on which side, how much: asked before a ride goes on. A red flag ends riding for today. */
import { ask } from "../../commands.js";
import { chips, scoreChips } from "../../chips.js";
import { el, setAttribute, setText } from "../../dom.js";
import { PLACES } from "../client/rows.js";

/** @typedef {import("../../state.js").State} State @typedef {import("../../store.js").Store} Store */

const SIDES = /** @type {const} */ ([["left", "left"], ["both", "both"], ["right", "right"]]);
/** The daemon's own words: daq/fit/step_notes.py. */
const RED = /** @type {const} */ ([
  ["none", "none of these"],
  ["chest pain", "chest pain"],
  ["dizziness", "dizziness"],
  ["numbness or weakness", "numbness or weakness"],
]);

/** What is answered and not kept yet: a page that is loaded again asks nothing twice; gone with the window. */
const DRAFT = "foreaft-pain";
/** @type {Readonly<{place: string|null, side: string|null, score: number|null, red: string|null}>} */
const NOTHING = Object.freeze({ place: null, side: null, score: null, red: null });

/** @param {Store} store */
export function painCard(store) {
  let said = NOTHING;
  const place = el("select", { id: "pain-place", onchange: () => say({ place: place.value || null }) }, el("option", { value: "" }, "choose"), ...PLACES.map((each) => el("option", { value: each }, each)));
  const side = chips("Side", SIDES, (value) => say({ side: value }));
  const score = scoreChips("How much, 0 to 10", (value) => say({ score: value }));
  const red = chips("Any of these?", RED, (value) => say({ red: value }));
  const keep = el("button", { type: "submit", class: "main" });
  const node = el(
    "form",
    { class: "pain", "aria-label": "Where it hurts", onsubmit: tell },
    el("p", { class: "field" }, el("label", { for: "pain-place" }, "Where does it hurt, or is it numb?"), place),
    side.node,
    score.node,
    red.node,
    keep,
  );
  /** Of which pain it asks; "": of none. @type {string|null} */
  let shown = null;

  function say(/** @type {Partial<typeof said>} */ more) {
    said = { ...said, ...more };
    sessionStorage.setItem(DRAFT, JSON.stringify({ of: which(store.state), said }));
    refresh();
  }
  function refresh() {
    const ends = said.red !== null && said.red !== "none";
    const whole = said.place && said.side && said.score !== null && said.red;
    // What ends the ride waits for no other answer.
    setAttribute(keep, "disabled", !whole && !ends);
    setText(keep, ends ? "End the ride for today" : "Keep this answer");
  }
  async function tell(/** @type {Event} */ event) {
    event.preventDefault();
    await ask(store, "pain told", "POST", "/api/v1/pain", { ...said, red: said.red === "none" ? null : said.red });
  }
  /** With what was answered of this pain before the page was loaded again. */
  function begin(/** @type {State} */ state) {
    const draft = JSON.parse(sessionStorage.getItem(DRAFT) ?? "{}");
    said = draft.of === which(state) ? draft.said : NOTHING;
    place.value = said.place ?? "";
    side.set(said.side);
    score.set(said.score === null ? null : String(said.score));
    red.set(said.red);
    refresh();
  }

  /** @param {State} state */
  function draw(state) {
    const { sweep } = state;
    const asked = Boolean(sweep?.pain && sweep.state === "paused" && !sweep.pain_told);
    const of = asked ? which(state) : "";
    // A page that nobody looked at draws nothing, and may find the next pain where it left the last.
    if (asked && of !== shown) begin(state);
    // A page that has not heard of the sweep yet does not know whether it asks.
    if (sweep && !asked && shown !== "") sessionStorage.removeItem(DRAFT);
    if (sweep) shown = of;
    setAttribute(node, "hidden", !asked);
  }
  return { node, draw };
}

/** Of which pain the answers are: of this sweep, after those that are told already. @param {State} state */
const which = ({ sweep }) => `${sweep?.sweep_id} ${sweep?.pains.length}`;
