/** The fitter decides: the setback large, height and bar as they were ridden there, the reason, and the one black button. */
import { ask } from "../../commands.js";
import { el, setAttribute, setText } from "../../dom.js";
import { field, gather, read, write } from "../../form.js";
import { number } from "../../format.js";
import { asSentence } from "../../trade_words.js";
import { confirmPanel } from "./confirm.js";
import { comparedWithNow, following, shortDay, stagesLine } from "./picture.js";

/** @typedef {import("../../store.js").Store} Store @typedef {import("../../form.js").Field} Field */

/** @type {import("../../form.js").Row} */
const SETBACK = { path: "setback_mm", words: "Setback decided", kind: "number", unit: "mm behind the BB", least: -100, most: 300, step: 1, required: true };
/** What is set on the bicycle beside it, and where the option has it. @type {import("../../form.js").Row[]} */
const SET = [
  { path: "height_mm", words: "Saddle height", kind: "number", unit: "mm", least: 400, most: 1000 },
  { path: "bar_x_mm", words: "Bar ahead of the BB", kind: "number", unit: "mm", least: 100, most: 1200 },
  { path: "bar_y_mm", words: "Bar above the BB", kind: "number", unit: "mm", least: 100, most: 1500 },
  { path: "saddle_tilt_deg", words: "Saddle tilt, nose up +", kind: "number", unit: "°", least: -20, most: 20 },
];
/** @type {import("../../form.js").Row[]} */
const WRITTEN = [
  { path: "reason", words: "Reason", kind: "long", required: true },
  { path: "decided_by", words: "Decided by", kind: "text", required: true },
];
/** @type {import("../../form.js").Row[]} */
const FOLDED = [
  { path: "traded", words: "Given up for it", kind: "long" },
  { path: "recheck_on", words: "Re-check on", kind: "date", required: true },
];
/** Who decided last at this computer; no client's data. */
const FITTER = "foreaft-fitter";
/** What is written and not kept yet, while the fitter rides it again; gone with the window. */
const DRAFT = "foreaft-decision";
const MOST_REASONS = 4;
const WEEK_MS = 7 * 86_400_000;
const AGAIN = "Ride the same sweep again that day: same jig, bar, gradient, power and time of day.";

/** Another sweep, or a decision kept meanwhile, may be in another window, ends what was considered before. */
const restsOn = (/** @type {any} */ found) => JSON.stringify([found?.main, found?.decision]);

/** @param {Store} store @param {(mm: number|null) => void} moved */
export function chosenPanel(store, moved) {
  const setback = field(SETBACK, "decision");
  const [set, written, folded] = [SET, WRITTEN, FOLDED].map((rows) => rows.map((row) => field(row, "decision")));
  const confirm = confirmPanel(store, () => frame(store.state));
  const fields = [setback, ...set, ...written, ...folded, confirm.field];
  const compared = el("p", { class: "compared", role: "status" });
  const rows = el("dl", { class: "follows" });
  const stages = el("div", {});
  const recheck = el("p", { class: "note" });
  const cautions = el("div", { class: "cautions", role: "status" });
  const reasons = el("p", { class: "reasons-offered" });
  const send = el("button", { type: "submit", class: "main" }, "Keep and print");
  const again = el("a", { target: "_blank", rel: "noopener" }, "Printed page");
  const fold = el("details", {}, el("summary", {}, "Re-check, and what was given up"), ...folded.map((each) => each.node), recheck);
  const node = el(
    "form",
    { class: "chosen", onsubmit: keep, oninput: typed, "aria-label": "Decision" },
    setback.node,
    compared,
    cautions,
    el("fieldset", { class: "set-there" }, el("legend", {}, "As ridden there"), ...set.map((each) => each.node)),
    rows,
    stages,
    confirm.node,
    el("div", { class: "reasoned" }, reasons, ...written.map((each) => each.node)),
    fold,
    el("p", { class: "page-end" }, confirm.rides, send, again),
  );
  /** @type {Set<Field>} what the fitter has written himself: what follows the marker does not write over it */
  const own = new Set();
  /** @type {any} */
  let shown = null;
  let again_on = false;
  /** @type {number|null} where the fitter has put the marker */
  let considered = null;

  function typed(/** @type {Event} */ event) {
    const mine = fields.find(({ input }) => input === event.target);
    if (!mine) return;
    own.add(mine);
    if (mine === setback) return moved(setback.input.validity.valid ? read(setback) : null);
    saveDraft();
    draw();
  }
  function saveDraft() {
    const said = Object.fromEntries([...own].map((each) => [each.row.path, read(each)]));
    sessionStorage.setItem(DRAFT, JSON.stringify({ visit_id: store.state.visit?.id, said, considered, rests_on: restsOn(shown?.found) }));
  }
  const follow = (/** @type {Field} */ each, /** @type {any} */ value) => !own.has(each) && write(each, value ?? null);

  function draw() {
    if (!shown) return;
    const { found, days, option } = shown;
    const there = option?.place ?? {};
    const tilt_deg = store.state.visit?.measured.saddle_tilt_deg ?? store.state.visit?.intake?.saddle.tilt_deg;
    for (const each of set) {
      const value = each.row.path === "saddle_tilt_deg" ? tilt_deg : there[each.row.path];
      follow(each, typeof value === "number" ? Math.round(value * 10 ** (each.row.unit === "°" ? 1 : 0)) / 10 ** (each.row.unit === "°" ? 1 : 0) : null);
    }
    follow(folded[1], option?.recheck_on);
    setText(compared, comparedWithNow(found, days, option));
    rows.replaceChildren(...following(found, days, option).flatMap(([words, value]) => [el("dt", {}, words), el("dd", {}, value)]));
    stages.replaceChildren(stagesLine(option, found.present_mm));
    setText(recheck, [option ? `The last stage begins on ${shortDay(option.stages.at(-1).on)}.` : "", again_on ? AGAIN : ""].join(" ").trim());
    const height = set[0];
    const off_mm = option && there.height_mm !== null ? (read(height) ?? there.height_mm) - there.height_mm : 0;
    const said = [...(option?.cautions ?? []), ...(option?.reaching.reachable === false ? [option.reaching.text] : []), ...(Math.abs(off_mm) >= 1 ? [`this height is ${number(Math.abs(off_mm))} mm ${off_mm > 0 ? "above" : "below"} the one ridden here, ${number(there.height_mm)} mm`] : [])];
    const mm = read(setback);
    if (!option && typeof mm === "number") said.push(`${number(mm)} mm is far from what was ridden: nothing is known of it`);
    cautions.replaceChildren(...said.map((text) => el("p", { class: "warning" }, asSentence(text))));
  }
  /** That the hands stay light is offered only where the ride has shown it: the sheet prints it as the reason. */
  function offer(/** @type {any} */ { leanings, window_mm, sweeps, main }) {
    const verdict = sweeps.find((/** @type {any} */ each) => each.sweep_id === main)?.onset?.verdict;
    const light = window_mm || verdict === "light-throughout" ? ["hands stay light"] : [];
    const said = [...leanings.map((/** @type {any} */ each) => each.title.toLowerCase()), ...light].slice(0, MOST_REASONS);
    const add = (/** @type {string} */ text) => {
      const before = written[0].input.value.trim();
      write(written[0], before ? `${before}, ${text}` : text);
      own.add(written[0]);
      saveDraft();
    };
    reasons.replaceChildren(said.length ? "Why: " : "", ...said.map((text) => el("button", { type: "button", class: "small", onclick: () => add(text) }, text)));
  }
  async function keep(/** @type {Event} */ event) {
    event.preventDefault();
    const visit_id = store.state.visit?.id;
    if (visit_id === undefined || visit_id !== shown?.found.visit_id) return;
    const sheet = open("", "_blank");
    const kept = await ask(store, "decision", "PUT", "/api/v1/visit/decision", gather(fields));
    if (!kept) return sheet?.close();
    sessionStorage.removeItem(DRAFT);
    localStorage.setItem(FITTER, read(written[1]));
    if (sheet) sheet.location.href = `/api/v1/visits/${visit_id}/report`;
  }
  function frame(/** @type {import("../../state.js").State} */ state) {
    const { visit, sending } = state;
    confirm.frame(state);
    const ready = confirm.ready();
    // Enter in a field presses even a button that is hidden.
    setAttribute(send, "disabled", sending !== null || !ready || !confirm.known());
    setAttribute(send, "hidden", !ready);
    setAttribute(again, "hidden", !visit?.decision);
    setAttribute(again, "href", visit ? `/api/v1/visits/${visit.id}/report` : null);
  }
  return {
    node,
    /** @param {any} found @param {any} days @param {any} option */
    show(found, days, option) {
      if (shown?.found !== found) offer(found);
      shown = { found, days, option };
      draw();
    },
    /** @param {number|null} mm */
    put: (mm) => {
      confirm.put(mm);
      if (document.activeElement !== setback.input) write(setback, mm);
    },
    /** The fitter has moved the marker there. @param {number|null} mm */
    consider: (mm) => {
      if (mm === null) return;
      considered = mm;
      saveDraft();
    },
    /** Fills it in for another visit. @param {any} found the evidence
     * @returns {number|null} the setback that was being considered, of this evidence and beside this decision */
    begin(found) {
      own.clear();
      shown = null;
      again_on = false;
      confirm.begin();
      const draft = JSON.parse(sessionStorage.getItem(DRAFT) ?? "{}");
      const mine = draft.visit_id === store.state.visit?.id;
      const before = { ...found.decision, ...(mine ? draft.said : {}) };
      considered = mine && draft.rests_on === restsOn(found) ? (draft.considered ?? null) : null;
      for (const each of fields) {
        const { path } = each.row;
        write(each, before[path] ?? (path === "decided_by" ? localStorage.getItem(FITTER) : null));
        if ((before[path] ?? null) !== null) own.add(each);
      }
      return considered;
    },
    frame,
    /** Another day: the re-check is a week from now, or when the last stage is ridden. */
    repeat() {
      const in_a_week = new Date(Date.now() + WEEK_MS).toISOString().slice(0, 10);
      const last_stage = shown?.option?.stages.at(-1).on ?? in_a_week;
      write(folded[1], last_stage > in_a_week ? last_stage : in_a_week);
      own.add(folded[1]);
      saveDraft();
      again_on = true;
      draw();
      setAttribute(fold, "open", true);
      folded[1].input.focus();
    },
    /** Nothing more: on to the reason. */
    decide: () => written[0].input.focus(),
    close: confirm.close,
  };
}
