/** The answer: headline, onset chart or its table, reasons. An answer of "no onset" takes the same room. */
import { look } from "../../commands.js";
import { chartPoints, onsetChart } from "../../chart.js";
import { changes, el, setAttribute, setText } from "../../dom.js";
import {
  millimetres,
  millimetresFine,
  newtonMetres,
  newtonsFine,
  number,
  range,
  roundedBack,
  slope,
  uncertainty,
} from "../../format.js";
import { bandKey } from "../../onset_band.js";
import { Z_95 } from "../../scales.js";
import { stepPoints } from "../../step_points.js";
import { besideTheNumber, chances, chartInWords, FORWARD_LIMIT, headline, isNamed, reasons, suggestedName } from "../../answer_words.js";
import { asSentence } from "../../trade_words.js";
import { instruction } from "../../words.js";

/** @typedef {import("../../state.js").State} State @typedef {import("../../store.js").Store} Store */

/** A sweep of an earlier visit is computed from its raw data. */
const COMPUTING_MS = 60_000;

/** @param {Store} store */
export function answerPanel(store) {
  const title = el("h2", { id: "answer-title" });
  const value = el("p", { class: "answer-value" });
  const rests = el("p", { class: "answer-rests" });
  const outlook = el("p", { class: "answer-outlook" });
  const points = stepPoints(false);
  const told = el("p", { class: "unseen" });
  const chart = points.node;
  chart.classList.add("chart-host");
  const table = el("div", { class: "table-host", tabindex: "0", role: "region", "aria-label": "Table of steps" });
  const why = el("div", { class: "reasons" });
  const tall = matchMedia("(min-height: 1200px)").matches;
  const because = el("div", { class: "because", tabindex: "0", role: "region", "aria-label": "Reasons for the answer", hidden: !tall }, why);
  const reason = el("button", { type: "button", class: "small", "aria-expanded": String(tall), onclick: () => explain() }, "Why");
  const turn = el("button", { type: "button", class: "small", onclick: () => store.dispatch({ type: "page/table" }) });
  const node = el(
    "section",
    { class: "answer", "aria-labelledby": "answer-title" },
    el("header", {}, el("div", { class: "answer-head" }, title, value, rests), el("div", { class: "answer-turns" }, reason, turn)),
    outlook,
    because,
    told,
    chart,
    table,
  );
  function explain() {
    because.hidden = !because.hidden;
    setAttribute(reason, "aria-expanded", String(!because.hidden));
  }

  const size = { width: 0, height: 0 };
  const watch = new ResizeObserver(() => Object.assign(size, { width: chart.clientWidth, height: chart.clientHeight }));
  watch.observe(chart);
  const sweepChanged = changes();
  const visitChanged = changes();
  /** What the client's last decision rests on: computed once a visit, before the sweep. */
  async function lookBefore(/** @type {number} */ visit_id) {
    const told = await look("/api/v1/visit/before", undefined, COMPUTING_MS);
    store.dispatch({ type: "page/before", visit_id, before: told.before ?? null });
  }
  const headChanged = changes();
  const chartChanged = changes();
  const tableChanged = changes();

  /** @param {State} state */
  function draw(state) {
    const { onset, steps, sweep, table_shown } = state;
    if (sweepChanged(sweep?.sweep_id)) points.clear();
    if (visitChanged(state.visit?.id) && state.visit && state.visit.id !== state.before?.visit_id) void lookBefore(state.visit.id);
    if (headChanged(onset, steps.length, sweep?.state, sweep?.chance_of, sweep?.outlook?.sentence)) {
      const named = isNamed(onset);
      title.replaceChildren(headline(state), named ? el("strong", {}, ` ${millimetresFine(onset.onset_mm)}`) : "");
      value.replaceChildren(...(named ? onsetLine(onset, sweep) : []));
      setText(rests, besideTheNumber(onset));
      setText(outlook, named ? "" : outlookInWords(sweep));
      setAttribute(node, "data-answer", named ? "onset" : onset ? "none" : "open");
      why.replaceChildren(...reasonLines(state));
      setAttribute(reason, "hidden", !onset && !sweep?.outlook?.would_help.length);
    }
    setText(turn, table_shown ? "Chart" : "Table");
    setAttribute(chart, "hidden", table_shown);
    setAttribute(table, "hidden", !table_shown);
    if (
      !table_shown &&
      size.width > 0 &&
      size.height > 0 &&
      chartChanged(
        steps,
        onset,
        sweep?.planned_mm.join(),
        sweep?.state,
        sweep?.chance_of,
        sweep?.setback_mm,
        sweep?.asked_setback_mm,
        state.entry_mm,
        state.ghost,
        state.before,
        size.width,
        size.height,
      )
    ) {
      points.put(onsetChart(state, size.width, size.height), chartPoints(state, size.width, size.height));
      setText(told, chartInWords(state));
    }
    if (table_shown && tableChanged(steps, onset)) table.replaceChildren(stepTable(state));
  }
  return { node, card: points.card, draw, close: () => watch.disconnect() };
}

/** @typedef {import("../../state.js").Sweep|null} Sweep @param {import("../../state.js").Onset} onset @param {Sweep} sweep */
function onsetLine(onset, sweep) {
  return [
    onset.interval_95_mm ? bandKey() : "",
    "95 % interval ",
    el("strong", {}, range(onset.interval_95_mm, "mm", 1)),
    ...suggested(onset, sweep),
  ];
}

/** The setback where the chance of loaded hands is small enough, or that no such position was ridden. @param {import("../../state.js").Onset} onset @param {Sweep} sweep */
function suggested({ suggested_setback_mm, onset_mm }, sweep) {
  if (suggested_setback_mm === null || onset_mm === null) return [" · no setback is suggested"];
  const mm = roundedBack(suggested_setback_mm);
  const behind = millimetres(mm - onset_mm);
  return [` · ${suggestedName(sweep).toLowerCase()} `, el("strong", {}, millimetres(mm)), el("span", { class: "how-far" }, `, ${behind} behind the onset`)];
}

/** What the remaining minutes can still find, from the scatter of the steps so far. */
function outlookInWords(/** @type {Sweep} */ sweep) {
  return sweep?.outlook ? asSentence(sweep.outlook.sentence) : "";
}

function reasonLines(/** @type {State} */ state) {
  const { onset, sweep } = state;
  const help = isNamed(onset) ? [] : (sweep?.outlook?.would_help ?? []);
  const more = help.length ? [el("ul", {}, ...help.map((each) => el("li", {}, asSentence(each))))] : [];
  if (!onset) return more;
  const limit = onset.verdict === "onset" ? [el("p", { class: "limit" }, FORWARD_LIMIT)] : [];
  return [el("ul", {}, ...reasons(onset, `${instruction(state).detail} ${besideTheNumber(onset)}`).map((reason) => el("li", {}, reason))), el("p", {}, chances(onset)), ...limit, ...more];
}

/** A change in whole millimetres with its sign, a dash where it is not known. @param {number|null|undefined} mm */
const changeInWords = (mm) => (typeof mm === "number" && mm >= 0.5 ? "+" : "") + number(mm);

function stepTable(/** @type {State} */ { steps, onset }) {
  const head = [
    "Step",
    "Setback, mm behind the BB (± 95 %)",
    "Reach, drop as set, mm",
    "Hand load, N",
    "Standard error, N",
    "Saddle load, N",
    "Crank torque",
    "Strokes used",
    "Left out",
    "Rider says: hands, saddle, effort",
  ];
  const row = (/** @type {import("../../state.js").Step} */ step) =>
    el(
      "tr",
      {},
      el("th", { scope: "row" }, number(step.index + 1)),
      ...[
        step.u_setback_mm === null ? number(step.setback_mm) : `${number(step.setback_mm)} ± ${number(Z_95 * step.u_setback_mm)}`,
        [step.setting?.reach_change_mm, step.setting?.drop_change_mm].map(changeInWords).join(", "),
        number(step.hand_load_n, 1),
        step.se_n === null ? "pooled" : uncertainty(step.se_n),
        number(step.saddle_load_n),
        newtonMetres(step.crank_torque_nm),
        number(step.strokes),
        number(step.excluded),
        ["hands", "saddle", "effort"].map((name) => number(step.notes?.[name])).join(", "),
      ].map((text) => el("td", {}, text)),
    );
  const fit = isNamed(onset)
    ? `Behind the onset ${newtonsFine(onset.light_load_n)}, forward of it ${slope(onset.rise_n_per_mm)}.`
    : "";
  const method = onset ? ` Method ${onset.method}.` : "";
  return el(
    "table",
    {},
    el("caption", {}, `Steps finished: ${steps.length}. `, fit, method),
    el("thead", {}, el("tr", {}, ...head.map((text) => el("th", { scope: "col" }, text)))),
    el("tbody", {}, ...steps.map(row)),
  );
}
