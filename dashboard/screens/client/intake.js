/** Today's intake, saved as it is typed: what is asked at a first visit, the body, the red flags; the rest is folded. */
import { chips } from "../../chips.js";
import { ask, look } from "../../commands.js";
import { changes, el, setAttribute, setText } from "../../dom.js";
import { field, gather, scatter } from "../../form.js";
import { nextButton } from "../../next.js";
import { saving } from "../../saving.js";
import { complaints } from "./complaints.js";
import { redFlags } from "./questions.js";
import { BICYCLE, EQUIPMENT, FEEL, FIRST, POST, REFERENCES, RIDING } from "./rows.js";

/** @typedef {import("../../store.js").Store} Store @typedef {import("../../state.js").State} State */

const FOLDED = /** @type {const} */ ([
  ["How riding feels, 0 to 10", FEEL],
  ["Saddle, bar, shoes", EQUIPMENT],
  ["Riding and injuries", RIDING],
  ["Own bicycle, for its front-wheel share", BICYCLE],
  ["Its post and rails, to see whether the setback can be reached", POST],
]);

/** @param {Store} store */
export function intakeForm(store) {
  const first = FIRST.map((row) => field(row, "intake"));
  const folded = FOLDED.map(([title, rows]) => ({ title, fields: rows.map((row) => field(row, "intake")) }));
  const fields = [...first, ...folded.flatMap((group) => group.fields)];
  const reference = chips("Setback is measured to the", REFERENCES, () => kept.touched());
  const hurts = complaints(() => kept.touched());
  const flags = redFlags(() => kept.touched());
  const said = el("p", { class: "kept", role: "status" });
  const last = el("p", { class: "here" });
  const confirm = el("button", { type: "button", class: "main", onclick: () => void confirmed() }, "Gone through with the client");
  const next = nextButton("#client");
  const kept = saving(store, "intake", () => (filledFor() ? { path: "/api/v1/visit/intake" + (store.state.visit?.returning ? "?confirmed=false" : ""), body: read() } : null), (text) => setText(said, text));
  const setback = first.findIndex(({ row }) => row.path === "saddle.setback_mm");
  const node = el(
    "form",
    { class: "intake", onsubmit: (/** @type {Event} */ event) => event.preventDefault(), oninput: () => kept.touched(), onchange: () => void kept.flush(), "aria-label": "Intake" },
    el(
      "section",
      { class: "plate", "aria-labelledby": "rider-title" },
      el("header", {}, el("h2", { id: "rider-title" }, "Rider and bicycle"), said),
      last,
      ...first.slice(0, setback + 1).map((each) => each.node),
      reference.node,
      ...first.slice(setback + 1).map((each) => each.node),
      ...folded.map(({ title, fields: own }) => el("details", {}, el("summary", {}, title), ...own.map((each) => each.node))),
    ),
    el("section", { class: "plate", "aria-labelledby": "hurts-title" }, el("h2", { id: "hurts-title" }, "Where does it hurt or go numb?"), hurts.node),
    el("div", { class: "ask-column" }, flags.node, el("p", { class: "page-end" }, confirm, next.node)),
  );

  let questions = 0;
  void look("/api/v1/visit").then((/** @type {any} */ told) => {
    flags.ask(told?.red_flags ?? {});
    questions = Object.keys(told?.red_flags ?? {}).length;
  });

  /** The visit the form is filled in for: what is typed for one client is never saved with another. */
  let shown = NaN;
  const filledFor = () => store.state.visit !== null && store.state.visit.id === shown;

  function read() {
    const valid = fields.filter(({ input }) => input.value.trim() === "" || input.validity.valid);
    const intake = gather(valid);
    intake.saddle = { ...intake.saddle, reference: reference.get() };
    for (const part of ["bicycle", "post"]) intake[part] = isEmpty(part, intake[part]) ? null : withoutEmpty(intake[part]);
    return { ...intake, symptoms: hurts.read(), ...flags.read() };
  }
  async function confirmed() {
    await kept.flush();
    if (filledFor()) await ask(store, "intake", "PUT", "/api/v1/visit/intake", read());
  }

  const filled = changes();
  function draw(/** @type {State} */ state) {
    const { visit, sending } = state;
    setAttribute(node, "hidden", !visit);
    next.draw(state);
    if (!visit) return;
    if (filled(visit.id, questions)) {
      shown = visit.id;
      const begun = visit.begun ?? {};
      scatter(fields, begun);
      reference.set(begun.saddle?.reference ?? null);
      hurts.write(begun.symptoms ?? []);
      flags.write(begun);
      setText(said, visit.begun && !visit.returning ? "kept as typed" : "");
    }
    setText(last, visit.returning);
    flags.advise(visit.advice);
    setAttribute(confirm, "hidden", !visit.returning);
    setAttribute(next.node, "hidden", Boolean(visit.returning) || next.node.hidden);
    setAttribute(confirm, "disabled", sending !== null);
  }
  return { node, draw, leave: () => void kept.flush() };
}

/** Whether nothing unusual was entered about the client's bicycle or its post. */
function isEmpty(/** @type {string} */ part, /** @type {any} */ said) {
  const usual = Object.fromEntries([...BICYCLE, ...POST].map((row) => [row.path, row.value ?? null]));
  return Object.entries(said ?? {}).every(([name, value]) => value === "" || value === null || value === usual[`${part}.${name}`]);
}

/** A measure left empty means the usual one, not none. */
const withoutEmpty = (/** @type {any} */ said) => Object.fromEntries(Object.entries(said).filter(([, value]) => value !== null));
