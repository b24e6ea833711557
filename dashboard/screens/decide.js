/** The decision: what today's sweeps say, what speaks for and against, what the fitter makes of it. */
import { ask, look } from "../commands.js";
import { changes, el, setAttribute, setText } from "../dom.js";
import { field, gather, scatter } from "../form.js";
import { number, range, withMinus } from "../format.js";
import { numberIn } from "../number_field.js";
import { FORWARD_LIMIT, sentence, withoutWindow } from "../words.js";
import { legend, overlay } from "./decide/overlay.js";
import { disturberTable, placeTable, sideTable, signTable, stepTable, sweepTable } from "./decide/tables.js";

/** The evidence is computed when it is asked for; a sweep of an earlier visit from its raw. */
const COMPUTING_MS = 60_000;

/** @type {import("../form.js").Row[]} */
const DECISION = [
  {
    path: "setback_mm",
    words: "Setback decided",
    kind: "number",
    unit: "mm behind the BB",
    least: -100,
    most: 300,
    step: 1,
    required: true,
  },
  { path: "height_mm", words: "Saddle height", kind: "number", unit: "mm", least: 400, most: 1000 },
  { path: "saddle_tilt_deg", words: "Saddle tilt", kind: "number", unit: "°", least: -20, most: 20 },
  { path: "reach_mm", words: "Saddle to bar", kind: "number", unit: "mm", least: 200, most: 1000 },
  { path: "reason", words: "Reason", kind: "long", required: true },
  { path: "traded", words: "Given up for it", kind: "long" },
  { path: "decided_by", words: "Decided by", kind: "text", required: true },
  { path: "recheck_on", words: "Re-check on", kind: "date", required: true },
];

/** The first of them are what is set on the bicycle. */
const MEASURES = 4;

/** @param {HTMLElement} root @param {import("../store.js").Store} store @returns {() => void} takes the screen away */
export function mount(root, store) {
  const fields = DECISION.map((row) => field(row, "decision"));
  const shown = el("div", {});
  const busy = el("p", { class: "here", role: "status" });
  const cautions = el("div", { class: "cautions", role: "status" });
  const stages = el("p", { role: "status" });
  const reach = el("p", { class: "reach", role: "status" });
  const send = el("button", { type: "submit", class: "main" }, "Keep this decision");
  const page = el("a", { class: "button", target: "_blank", rel: "noopener" }, "Printed page");
  const form = el(
    "form",
    { class: "plate", onsubmit: submit, oninput: () => (typed = true), "aria-label": "Decision", hidden: "" },
    el("h2", {}, "The fitter decides"),
    el(
      "div",
      { class: "two" },
      el("div", {}, ...fields.slice(0, MEASURES).map((each) => each.node)),
      el("div", {}, ...fields.slice(MEASURES).map((each) => each.node)),
    ),
    cautions,
    reach,
    stages,
    el("p", { class: "page-end" }, send, page),
  );
  root.replaceChildren(el("div", { class: "page" }, el("h1", {}, "Decide"), busy, shown, form));
  fields[0].input.addEventListener("change", () => void refresh(numberIn(fields[0].input)));
  const beside = el("select", { id: "compare", onchange: () => void refresh(numberIn(fields[0].input)) });

  let asked = 0;
  /** Whether the fitter has begun to write: what comes later must not write over it. */
  let typed = false;
  async function refresh(/** @type {number|undefined} */ setback_mm) {
    const mine = ++asked;
    setAttribute(shown, "aria-busy", "true");
    setText(busy, "Working it out from what was ridden …");
    const query = new URLSearchParams();
    if (setback_mm !== undefined && !Number.isNaN(setback_mm)) query.set("setback_mm", String(setback_mm));
    if (beside.value) query.set("compare", beside.value);
    const found = await look(`/api/v1/visit/evidence?${query}`, undefined, COMPUTING_MS);
    if (mine !== asked) return;
    setAttribute(shown, "aria-busy", null);
    setText(busy, "");
    setAttribute(form, "hidden", !found.signs);
    if (!found.signs) return shown.replaceChildren(el("p", { class: "warning" }, found.problem ?? ""));
    fillEarlier(beside, found.earlier);
    shown.replaceChildren(...evidenceNodes(found, beside));
    cautions.replaceChildren(...found.cautions.map((/** @type {string} */ text) => el("p", { class: "warning" }, text)));
    const staged = found.stages_mm.map((/** @type {number} */ mm) => number(mm)).join(" → ");
    setText(stages, found.stages_mm.length > 1 ? `A big change: in stages, a week’s riding each: ${staged} mm.` : "");
    setText(reach, ["Own bicycle: " + found.reaching.text, found.reaching.move].filter(Boolean).join("; "));
    setAttribute(reach, "data-reachable", found.reaching.reachable === false ? "no" : null);
    if (setback_mm === undefined && !typed) scatter(fields, proposal(found));
  }
  /** What was decided before, else what is suggested, with today's measures. */
  function proposal(/** @type {any} */ found) {
    const { measured, intake } = store.state.visit ?? {};
    return (
      found.decision ?? {
        setback_mm: found.chosen_mm === null ? null : Math.round(found.chosen_mm),
        height_mm: measured?.height_mm ?? intake?.saddle.height_mm,
        saddle_tilt_deg: measured?.saddle_tilt_deg ?? intake?.saddle.tilt_deg,
        recheck_on: found.recheck_on,
      }
    );
  }
  async function submit(/** @type {Event} */ event) {
    event.preventDefault();
    if (!(await ask(store, "decision", "PUT", "/api/v1/visit/decision", gather(fields)))) return;
    typed = false;
    await refresh(undefined);
  }

  const changed = changes();
  return store.onFrame(({ visit, sweep, sending }) => {
    const laid = beside.value ? `?compare=${beside.value}` : "";
    const ended = sweep?.accepts.length === 0;
    if (changed(visit?.id, ended, sweep?.sweep_id)) void refresh(undefined);
    setAttribute(send, "disabled", sending !== null);
    setAttribute(page, "href", visit ? `/api/v1/visits/${visit.id}/report${laid}` : null);
    setAttribute(page, "hidden", !visit?.decision);
  });
}

function evidenceNodes(/** @type {any} */ found, /** @type {HTMLSelectElement} */ beside) {
  const main = found.sweeps.find((/** @type {any} */ each) => each.sweep_id === found.main);
  const window_mm = found.window_mm
    ? el("p", {}, "Window to choose from ", el("span", { class: "window-value" }, range(found.window_mm, "mm", 0)))
    : el("p", {}, withoutWindow(main?.onset?.verdict));
  const items = (/** @type {string[]} */ texts) => el("ul", {}, ...texts.map((text) => el("li", {}, sentence(withMinus(text)))));
  return [
    found.advice ? el("p", { class: "warning" }, found.advice) : null,
    el(
      "section",
      { class: "plate", "aria-label": "Answer" },
      el("p", { class: "sentence" }, found.sentence),
      window_mm,
      found.window_mm ? el("p", {}, FORWARD_LIMIT) : null,
      items(main?.onset?.reasons ?? []),
      found.sweeps.length ? overlay(found) : null,
      found.sweeps.length > 1 ? legend(found.sweeps) : null,
      sweepTable(found.sweeps),
      el("p", { class: "field", hidden: !found.earlier.length }, el("label", { for: "compare" }, "Lay an earlier visit beside it"), beside),
      found.differences.length ? el("div", { class: "warning" }, items(found.differences)) : null,
      found.against.length
        ? el("div", { class: "against" }, el("h3", {}, "Against each other"), items([...new Set(found.against.flatMap((/** @type {any} */ one) => one.said))]))
        : null,
    ),
    el("section", { class: "plate" }, signTable(found.signs)),
    el(
      "div",
      { class: "two" },
      el("section", { class: "plate" }, disturberTable(found.disturbers)),
      el("section", { class: "plate" }, placeTable(found.places, found.com_height), found.sides.length ? sideTable(found.sides) : null),
    ),
    found.steps.length
      ? el(
          "details",
          { class: "plate" },
          el("summary", {}, "Step by step: geometry, shares, stroke"),
          el("div", { class: "wide", tabindex: "0", role: "region", "aria-label": "Step by step" }, stepTable(found.steps)),
        )
      : null,
  ].filter((node) => node !== null);
}

/** The earlier visits to choose from, once. */
function fillEarlier(/** @type {HTMLSelectElement} */ beside, /** @type {any[]} */ earlier) {
  if (beside.options.length === earlier.length + 1) return;
  beside.replaceChildren(
    el("option", { value: "" }, "none"),
    ...earlier.map(({ visit_id, begun_utc, setback_mm }) => {
      const decided = setback_mm === null ? "no decision" : `decided ${number(setback_mm)} mm`;
      return el("option", { value: visit_id }, `${begun_utc.slice(0, 10)}, ${decided}`);
    }),
  );
}
