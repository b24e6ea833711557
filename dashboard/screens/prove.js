/** A proof of the jig: what to do with the dummy, one thing after the other, and what came of it. */
import { barred, jigTaken, noLoads } from "../barred.js";
import { ask, look } from "../commands.js";
import { changes, el, setAttribute, setText } from "../dom.js";
import { field, gather, read, withoutNulls } from "../form.js";
import { MISSING, number, withMinus } from "../format.js";
import { asSentence } from "../trade_words.js";
import { keptProofs } from "./prove/kept.js";
import { ASKED, askedOf, shownWords, VALUES } from "./prove/rows.js";
import { result } from "./prove/result.js";
import { stageList } from "./prove/stages.js";

/** @typedef {import("../store.js").Store} Store @typedef {import("../state.js").State} State */
/**
 * @typedef {{name: string, made_by: string, jig: string, read_s: number, done: number, of: number, reading: boolean,
 *   told: string, last: string|null, shown: Record<string, number>, result: any,
 *   stages: import("./prove/stages.js").Stage[],
 *   task: {id: string, stage: string, instruction: string, typed: string[], reads: boolean}|null}} Proof
 */

const LOOK_EVERY_MS = 3000;
/** A reading of a minute, and a board that is waited for. */
const PATIENCE_MS = 90_000;
const LIVE_SPAN_S = 0.5;

/** @param {HTMLElement} root @param {Store} store @returns {() => void} takes the screen away */
export function mount(root, store) {
  /** @type {{caution: string, proof: Proof|null}|null} */
  let known = null;
  const act = async (/** @type {string} */ path, /** @type {object} */ body) => {
    const said = await ask(store, "proof", "POST", path, body, PATIENCE_MS);
    if (said) take(said);
    else void refresh();
    return said !== null;
  };
  const caution = el("p", { class: "warning" });
  const [begin, kept, work, came] = [beginning(store, act), keptProofs(act), working(store, act), result(act)];
  const idle = el("div", { class: "two" }, begin.node, kept.node);
  const parts = stageList();
  const under = el("div", { class: "bench-now" }, work.node, parts.node);
  root.replaceChildren(el("div", { class: "page bench rows" }, el("h1", {}, "Proof of the jig"), caution, idle, under, came.node));
  for (const node of [idle, under, came.node]) setAttribute(node, "hidden", true);

  function take(/** @type {any} */ said) {
    if (typeof said?.caution !== "string") return;
    known = said;
    const proof = said.proof;
    setText(caution, said.caution);
    setAttribute(idle, "hidden", proof !== null);
    setAttribute(under, "hidden", !proof?.task);
    setAttribute(came.node, "hidden", !proof?.result);
    if (proof?.task) {
      work.show(proof);
      parts.show(proof.stages, proof.task.stage);
    }
    if (proof?.result) came.show(proof);
    if (!proof) kept.read();
  }
  const refresh = async () => {
    if (store.state.sending === null) take(await look("/api/v1/proof"));
  };
  void refresh();
  // one begun on another page has the jig
  const elsewhere = () => !known?.proof && store.state.taken_by === "proof";
  const timer = setInterval(() => void (known?.proof || known === null || elsewhere() ? refresh() : null), LOOK_EVERY_MS);
  const stopDrawing = store.onFrame((state) => {
    work.draw(state);
    begin.draw(state);
  });
  const press = (/** @type {KeyboardEvent} */ event) => {
    const target = event.target instanceof Element ? event.target : null;
    if (event.repeat || event.ctrlKey || event.altKey || event.metaKey || !known?.proof?.task) return;
    if (![" ", "Enter"].includes(event.key) || target?.closest("input, select, textarea, button, a[href], summary")) return;
    event.preventDefault();
    store.inTurn(() => work.node.requestSubmit());
  };
  addEventListener("keydown", press);
  return () => {
    removeEventListener("keydown", press);
    clearInterval(timer);
    stopDrawing();
  };
}

/** Who proves, with which dummy. @param {Store} store @param {(path: string, body: object) => Promise<boolean>} act */
function beginning(store, act) {
  const groups = ASKED.map(([heading, rows]) => ({ heading, fields: rows.map((row) => field(row, "prove")) }));
  const fields = groups.flatMap((group) => group.fields);
  const start = el("button", { type: "submit", class: "main" }, "Begin the proof");
  const bar = barred(start);
  const node = el(
    "form",
    { class: "plate", onsubmit: submit, "aria-label": "New proof" },
    el("h2", {}, "Prove the jig with a dummy"),
    el("p", { class: "here" }, "It finds how far onsets are from a known one, and which part is wrong when they are. About an hour and a half; it can be left and gone on with."),
    ...groups.map((group) => el("fieldset", {}, el("legend", {}, group.heading), ...group.fields.map((each) => each.node))),
    el("p", { class: "page-end" }, start, bar.node),
  );

  function submit(/** @type {Event} */ event) {
    event.preventDefault();
    try {
      void act("/api/v1/proof", withoutNulls(askedOf(gather(fields))));
    } catch (error) {
      if (!(error instanceof RangeError)) throw error;
      store.dispatch({ type: "page/refused", text: asSentence(error.message) });
    }
  }
  const lacking = (/** @type {State} */ { rig }) => (rig?.not_measured.length ? { text: "A proof needs cells at hands and saddle; this rig has none at the saddle." } : null);
  return { node, draw: (/** @type {State} */ state) => bar.draw(jigTaken(state) || lacking(state) || noLoads(state), state.sending !== null) };
}

/** The one under way. @param {Store} store @param {(path: string, body: object) => Promise<boolean>} act */
function working(store, act) {
  const progress = el("p", { class: "bench-progress" });
  const task = el("p", { class: "bench-task long", role: "status" });
  const live = ["Hands", "Saddle", "Tilt"].map((name) => ({ name, value: el("p", { class: "bench-value" }) }));
  const shown = el("p", { class: "here" });
  const asked = el("div", {});
  const reading = el("p", { class: "bench-reading", role: "status" });
  const words = el("span");
  const done = el("button", { type: "submit", class: "main" }, words, el("kbd", {}, "Enter"));
  const again = el("button", { type: "button", onclick: () => void step("again") }, "Last one again");
  const leave = el("button", { type: "button", onclick: () => void step("leave") }, "Leave; go on later");
  const node = el(
    "form",
    { class: "plate", "aria-label": "Proof under way", onsubmit: submit },
    progress,
    task,
    el("div", { class: "bench-live three" }, ...live.map(({ name, value }) => el("div", { class: "bench-cell" }, el("h2", {}, name), value))),
    shown,
    asked,
    reading,
    el("p", { class: "page-end" }, done, again, leave),
  );
  /** @type {import("../form.js").Field[]} */
  let fields = [];
  /** @type {Proof|null} */
  let proof = null;
  const moved = changes();

  const step = (/** @type {string} */ what) => act("/api/v1/proof/steps", { do: what });
  async function submit(/** @type {Event} */ event) {
    event.preventDefault();
    const typed = Object.fromEntries(fields.map((each) => [each.row.path, read(each)]));
    await act("/api/v1/proof/steps", { do: "done", task: proof?.task?.id, typed });
  }

  function show(/** @type {Proof} */ now) {
    proof = now;
    setText(progress, `${now.jig}, ${now.task?.stage}: ${now.done} of ${now.of} done${now.told ? `; last reading: ${withMinus(now.told)}` : ""}`);
    setText(task, now.task?.instruction ?? "");
    setText(shown, shownWords(now.shown));
    if (!now.task || !moved(now.task.id, now.done, JSON.stringify(now.shown))) return;
    fields = now.task.typed.map((name) =>
      field({ path: name, ...VALUES[name], kind: "number", least: -1000, most: 1000, step: 0.01, required: true, value: now.shown[name] ?? null }, "prove-task"),
    );
    asked.replaceChildren(...fields.map((each) => each.node));
    if (document.activeElement !== document.body && !node.contains(document.activeElement)) return;
    (fields[0]?.input ?? done).focus();
    // on a telephone the field that is scrolled to may push out of sight what is to be done
    progress.scrollIntoView({ block: "nearest" });
  }

  function draw(/** @type {State} */ { sending }) {
    live.forEach(({ name, value }, column) => {
      const mean = store.trace.mean(column, LIVE_SPAN_S);
      setText(value, Number.isFinite(mean) ? withMinus(number(mean, name === "Tilt" ? 2 : 1) + (name === "Tilt" ? "°" : " N")) : MISSING);
    });
    const reads = proof?.task?.reads === true;
    const busy = sending !== null || proof?.reading === true;
    setText(reading, busy && reads ? `Reading, ${number(proof?.read_s ?? 0)} s. Hands off the jig.` : "");
    setText(words, reads ? "Done: read it " : "Done ");
    for (const button of [done, again, leave]) setAttribute(button, "disabled", busy);
    setAttribute(again, "disabled", busy || proof?.last === null);
  }
  return { node, show, draw };
}
