/** The bench: load cells calibrated with known weights, one reading after the other, each judged before it counts. */
import { barred, jigTaken, noLoads } from "../barred.js";
import { ask } from "../commands.js";
import { changes, el, setAttribute, setText } from "../dom.js";
import { field, gather, withoutNulls } from "../form.js";
import { number } from "../format.js";
import { dailyCheck } from "./bench/check.js";
import { hanging } from "./bench/hang.js";
import { keptCalibrations } from "./bench/kept.js";
import { capital, inTradeWords, spoken } from "../trade_words.js";
import { WANTED, wantedOf } from "./bench/rows.js";

/** @typedef {import("../store.js").Store} Store @typedef {import("../state.js").State} State */
/** @typedef {import("../state.js").Bench} Bench */

const LONG_S = 120;
/** what it does, its words, its key */
const VERBS = /** @type {const} */ ([
  ["read", "Read", "Space"],
  ["accept", "Accept anyway", "A"],
  ["redo", "Redo the last one", "R"],
  ["skip", "Skip this stage", "S"],
  ["break-off", "Break off", "X"],
]);

/** @param {HTMLElement} root @param {Store} store @returns {() => void} takes the screen away */
export function mount(root, store) {
  const [check, kept, begin] = [dailyCheck(store), keptCalibrations(store), beginning(store)];
  const idle = el("div", { class: "two" }, begin.node, el("div", {}, ...check.nodes, kept.node));
  const under_way = working(store);
  root.replaceChildren(el("div", { class: "page bench rows" }, el("h1", {}, "Bench"), standing(), idle, under_way.node));
  const sentence = /** @type {HTMLElement} */ (root.querySelector(".here"));
  addEventListener("keydown", press);

  function press(/** @type {KeyboardEvent} */ event) {
    const target = event.target instanceof Element ? event.target : null;
    if (event.repeat || event.ctrlKey || event.altKey || event.metaKey) return;
    if (target?.closest("input, select, textarea, button, a[href]")) return;
    const name = event.key === " " || event.key === "Enter" ? "Space" : event.key.toUpperCase();
    const verb = VERBS.find(([, , key]) => key === name)?.[0];
    if (!verb || !store.state.bench) return;
    if (name !== "Space" && !store.state.settings.letters) return;
    event.preventDefault();
    store.inTurn(() => {
      if (store.state.bench?.accepts.includes(verb)) void act(store, verb);
    });
  }

  const stopDrawing = store.onFrame((state) => {
    setText(sentence, state.calibration ? `Calibration ${state.calibration.id}: ${(state.calibration.sentence ?? "").replace(`${state.calibration.id}: `, "")}` : "");
    setAttribute(idle, "hidden", state.bench !== null);
    for (const each of [check, kept, begin]) each.draw(state);
    setAttribute(under_way.node, "hidden", state.bench === null);
    if (state.bench) under_way.draw(state.bench, state.sending !== null);
  });
  return () => {
    removeEventListener("keydown", press);
    stopDrawing();
  };
}

function standing() {
  return el("p", { class: "here", role: "status" });
}

function act(/** @type {Store} */ store, /** @type {string} */ verb, /** @type {object} */ more = {}) {
  return ask(store, verb, "POST", "/api/v1/bench/steps", { do: verb, ...more });
}

/** The form for a new one, or the unfinished one to resume. @param {Store} store */
function beginning(store) {
  const groups = WANTED.map(([heading, rows]) => ({ heading, fields: rows.map((row) => field(row, "bench")) }));
  const fields = groups.flatMap((group) => group.fields);
  const start = el("button", { type: "submit", class: "main" }, "Begin");
  const again = el("button", { type: "button", onclick: () => void ask(store, "resume", "POST", "/api/v1/bench/resume", {}) }, "Resume the unfinished one");
  const bar = barred(start, again);
  const node = el(
    "form",
    { class: "plate", onsubmit: submit, "aria-label": "New calibration" },
    el("h2", {}, "Calibrate the cells with known weights"),
    ...groups.map((group) =>
      el("fieldset", {}, el("legend", {}, group.heading), ...group.fields.map((each) => each.node)),
    ),
    el(
      "p",
      { class: "here" },
      "Off-axis places: one per line, as name: cells that share it: kg. Each is loaded alone, to test corner loading. " +
        "Counts per newton: as cell=counts; they catch a mix-up of units at the first weight.",
    ),
    el("p", { class: "page-end" }, start, again, bar.node),
  );

  function submit(/** @type {Event} */ event) {
    event.preventDefault();
    try {
      const wanted = withoutNulls(wantedOf(gather(fields)));
      void ask(store, "bench", "POST", "/api/v1/bench", wanted);
    } catch (error) {
      if (!(error instanceof RangeError)) throw error;
      store.dispatch({ type: "page/refused", text: error.message });
    }
  }
  return {
    node,
    draw(/** @type {State} */ state) {
      bar.draw(jigTaken(state) || noLoads(state), state.sending !== null);
    },
  };
}

/** The one under way. @param {Store} store */
function working(store) {
  const progress = el("p", { class: "bench-progress" });
  const counted = el("progress", { class: "bench-counted", "aria-label": "Readings taken", max: "1", value: "0" });
  const picture = el("div", { class: "bench-picture" });
  const task = el("p", { class: "bench-task", role: "status" });
  const reading = el("p", { class: "bench-reading" });
  const findings = el("ul");
  const live = el("div", { class: "bench-live" });
  const done = el("p", { class: "ready" });
  const page = el("a", { class: "button", target: "_blank", rel: "noopener" }, "Certificate");
  const use = el("button", { type: "button", onclick: () => void take() }, "Use it from now on");
  const finished = el("div", { class: "plate" }, done, el("p", { class: "page-end" }, page, use));
  const buttons = VERBS.map(([verb, words, key]) => ({
    verb,
    node: el(
      "button",
      { type: "button", class: verb === "read" ? "main" : "", onclick: () => void act(store, verb) },
      `${words} `,
      el("kbd", {}, key),
    ),
  }));
  const stop = el("button", { type: "button", onclick: () => void act(store, "stop") }, "End here");
  const leave = el("button", { type: "button", onclick: () => void act(store, "leave") }, "Leave; resume later");
  const forGood = el("details", {}, el("summary", {}, "End it for good"), el("p", { class: "note" }, "It cannot be resumed then; what was read stays in the record."), stop);
  const again = readAgain(store);
  const node = el(
    "section",
    { class: "plate", "aria-label": "Calibration under way" },
    progress,
    counted,
    el("div", { class: "bench-now" }, el("div", {}, task, live), picture),
    reading,
    el("div", { class: "warning", role: "alert" }, findings),
    el("p", { class: "page-end" }, ...buttons.map((each) => each.node)),
    el("p", { class: "page-end" }, leave, again.node),
    forGood,
    finished,
  );
  const liveChanged = changes();
  const findingsChanged = changes();
  const hangsChanged = changes();

  const take = () =>
    ask(store, "use", "POST", "/api/v1/calibrations/use", { name: store.state.bench?.calibration ?? "" });

  function draw(/** @type {Bench} */ bench, /** @type {boolean} */ busy) {
    setText(progress, `${bench.stage}: reading ${number(Math.min(bench.done + 1, bench.planned))} of ${number(bench.planned)}${timeLeft(bench.minutes_left)}`);
    setAttribute(counted, "value", bench.planned ? bench.done / bench.planned : 0);
    const drawn = store.state.rig?.drawn;
    if (drawn && hangsChanged(JSON.stringify([drawn, bench.task]))) picture.replaceChildren(hanging(drawn, bench.task));
    setAttribute(picture, "hidden", !bench.task || !drawn);
    setText(task, inTradeWords(bench.problem || bench.instruction) || (bench.calibration ? "All readings are taken." : "Ended."));
    setText(
      reading,
      bench.reading ? `Reading: ${elapsed(bench.reading)}. Touch nothing.` : "",
    );
    const told = bench.findings.map((each) => inTradeWords(each.sentence));
    if (findingsChanged(told.join("\n"))) findings.replaceChildren(...told.map((each) => el("li", {}, each)));
    if (liveChanged(bench.live)) live.replaceChildren(...bench.live.map((each) => cell(each, bench.task?.cell)));
    for (const { verb, node: button } of buttons) {
      setAttribute(button, "disabled", busy || !bench.accepts.includes(verb));
      if (verb === "break-off") setAttribute(button, "hidden", !bench.accepts.includes(verb));
      if (verb === "read") setText(/** @type {any} */ (button.firstChild), bench.findings.length ? "Read again " : "Read ");
    }
    again.draw(bench, busy);
    setAttribute(stop, "disabled", busy || !bench.accepts.includes("stop"));
    setAttribute(forGood, "hidden", !bench.accepts.includes("stop"));
    setAttribute(leave, "disabled", busy);
    setText(leave, bench.task ? "Leave; resume later" : "Close");
    setAttribute(finished, "hidden", bench.calibration === null);
    setText(done, bench.calibration ? `Calibration ${bench.calibration} is kept.` : "");
    setAttribute(page, "href", bench.calibration ? `/api/v1/calibrations/${bench.calibration}/certificate` : null);
  }
  return { node, draw };
}

/** ", about 1 h 15 min left" @param {number} minutes */
function timeLeft(minutes) {
  if (!(minutes > 0)) return "";
  const whole = Math.max(1, Math.round(minutes));
  const said = whole < 60 ? `${number(whole)} min` : `${number(Math.floor(whole / 60))} h ${number(whole % 60)} min`;
  return `, about ${said} left`;
}

/** In minutes if it lasts that long: a warm-up, a creep test. */
function elapsed(/** @type {{seconds: number, of_s: number}} */ { seconds, of_s }) {
  return of_s < LONG_S
    ? `${number(seconds)} of ${number(of_s)} s`
    : `${number(Math.floor(seconds / 60))} of ${number(of_s / 60)} min`;
}

/** Repeats any reading, or a whole series of a cell; what it replaces stays in the record. @param {Store} store */
function readAgain(store) {
  const which = el("select", { "aria-label": "A reading or series taken before" });
  const button = el("button", { type: "button", onclick: () => void redo() }, "Take this one again");
  const changed = changes();

  /** The step that each choice is. @type {Map<string, [string, object]>} */
  const steps = new Map();

  function redo() {
    const [verb, of] = steps.get(which.value) ?? ["redo", {}];
    return act(store, verb, of);
  }
  return {
    node: el("span", { class: "read-again" }, which, button),
    draw(/** @type {Bench} */ { taken, accepts }, /** @type {boolean} */ busy) {
      setAttribute(button, "disabled", busy || !accepts.includes("redo"));
      if (!changed(taken.map(({ task }) => task).join())) return;
      const offered = new Map();
      steps.clear();
      for (const { task, cell, words } of [...taken].reverse()) {
        offered.set(task, [cell && spoken(cell), words].filter(Boolean).join(", "));
        steps.set(task, ["redo", { task }]);
      }
      for (const { cell, series } of taken) {
        if (series === null) continue;
        const whole = `${cell}, series ${series}`;
        offered.set(whole, `${spoken(cell ?? "")}, series ${series}: all of it`);
        steps.set(whole, ["redo-series", { cell, series }]);
      }
      which.replaceChildren(...[...offered].map(([value, words]) => el("option", { value }, words)));
    },
  };
}

function cell(/** @type {Bench["live"][number]} */ each, /** @type {string|null|undefined} */ asked) {
  return el(
    "div",
    { class: "bench-cell", "data-asked": each.cell === asked && "" },
    el("h2", {}, capital(spoken(each.cell))),
    el("p", { class: "bench-value" }, each.load_n === null ? number(each.counts) : `${number(each.load_n, 2)} N`),
    el("small", {}, `${each.load_n === null ? "" : number(each.counts)} counts, moves by ${number(each.moves_counts)}`),
  );
}
