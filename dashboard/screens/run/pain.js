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

/** @param {Store} store */
export function painCard(store) {
  /** @type {{place: string|null, side: string|null, score: number|null, red: string|null}} */
  let said = { place: null, side: null, score: null, red: null };
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
  let shown = false;

  function say(/** @type {Partial<typeof said>} */ more) {
    said = { ...said, ...more };
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
  function clear() {
    said = { place: null, side: null, score: null, red: null };
    place.value = "";
    for (const row of [side, score, red]) row.set(null);
    refresh();
  }

  /** @param {State} state */
  function draw({ sweep }) {
    const asked = Boolean(sweep?.pain && sweep.state === "paused" && !sweep.pain_told);
    if (asked && !shown) clear();
    shown = asked;
    setAttribute(node, "hidden", !asked);
  }
  return { node, draw };
}
