/** What has to be seen to before a sweep, in the order in which it disturbs the answer. */
import { ask } from "../commands.js";
import { changes, el, setAttribute, setText } from "../dom.js";
import { field, gather, scatter } from "../form.js";
import { withMinus } from "../format.js";
import { HANDS } from "./client/rows.js";
import { nextButton } from "../next.js";
import { sentence } from "../words.js";
import { feetOffPlate } from "./feet_off.js";
import { zeroPlate } from "./zero.js";

/** @typedef {import("../store.js").Store} Store @typedef {import("../state.js").State} State */

const SIGNS = { done: "✓ done", open: "▲ open", overridden: "■ going on without", "not measured": "○ not measured" };

/** @type {import("../form.js").Row[]} */
const MEASURED = [
  { path: "cleats_set", words: "Cleats are set and tight", kind: "check" },
  { path: "height_mm", words: "Saddle height, BB to top", kind: "number", unit: "mm", least: 400, most: 1000 },
  { path: "knee_deg", words: "Knee flexion at the bottom", kind: "number", unit: "°", least: 0, most: 90 },
  { path: "saddle_tilt_deg", words: "Saddle tilt, nose up +", kind: "number", unit: "°", least: -20, most: 20 },
  { path: "hands", words: "Hands on the", kind: "choice", options: HANDS },
  { path: "hands_marked", words: "Their place on the bar is marked", kind: "check" },
  { path: "note", words: "Note", kind: "text" },
];

/** @param {HTMLElement} root @param {Store} store @returns {() => void} takes the screen away */
export function mount(root, store) {
  const fields = MEASURED.map((row) => field(row, "measured"));
  const triage = el("p", { class: "here" });
  const list = el("ol", { class: "checks" });
  const nobody = el("p", { class: "warning" }, "Nobody is here: a sweep now is a trial and asks for no checks.");
  const ready = el("p", { class: "ready", role: "status" });
  const reason = field({ path: "reason", words: "Reason to go on without an open check", kind: "text" }, "go-on");
  const next = nextButton("#checks");
  const zero = zeroPlate(store);
  const feetOff = feetOffPlate(store);
  const measured = el(
    "form",
    { class: "plate", onsubmit: keep },
    el("h2", {}, "Measured and set on the jig"),
    ...fields.map((each) => each.node),
    el("button", { type: "submit" }, "Keep these"),
  );
  const checks = el("section", { class: "plate", "aria-label": "Checks" }, triage, reason.node, ready, list);
  const body = el("div", { class: "two" }, checks, el("div", {}, zero.node, measured, feetOff.node));
  root.replaceChildren(
    el(
      "div",
      { class: "page" },
      el("h1", {}, "Before the sweep"),
      nobody,
      body,
      el("p", { class: "page-end" }, next.node),
    ),
  );

  async function keep(/** @type {Event} */ event) {
    event.preventDefault();
    await ask(store, "measured", "PUT", "/api/v1/visit/measured", gather(fields));
  }
  async function goOn(/** @type {string} */ check) {
    const content = { check, reason: reason.input.value.trim() };
    if (await ask(store, "override", "POST", "/api/v1/visit/overrides", content)) reason.input.value = "";
    else reason.input.focus();
  }

  const filled = changes();
  const listed = changes();
  /** @type {ReturnType<typeof checkItem>[]} */
  let items = [];
  return store.onFrame((/** @type {State} */ state) => {
    const { visit } = state;
    setAttribute(nobody, "hidden", Boolean(visit));
    for (const each of [checks, measured, feetOff.node]) setAttribute(each, "hidden", !visit);
    next.draw(state);
    zero.draw(state);
    feetOff.draw(state);
    if (!visit) return;
    setText(triage, visit.triage);
    if (filled(visit.id)) scatter(fields, { hands: visit.intake?.hands, ...known(visit) });
    const keys = visit.checks.map((/** @type {any} */ each) => each.key);
    if (listed(keys.join())) {
      items = keys.map((/** @type {string} */ key) => checkItem(() => void goOn(key)));
      list.replaceChildren(...items.map((each) => each.node));
    }
    items.forEach((item, i) => item.draw(visit.checks[i]));
    setText(ready, visit.in_the_way ? `Not yet. ${sentence(visit.in_the_way)}` : "Ready: the sweep may begin.");
    setAttribute(ready, "data-ready", !visit.in_the_way);
  });
}

/** What was measured today, else what the intake says of the bicycle the client came with. */
function known(/** @type {any} */ { measured, intake }) {
  const start = { height_mm: intake?.saddle.height_mm, saddle_tilt_deg: intake?.saddle.tilt_deg };
  return { ...start, ...Object.fromEntries(Object.entries(measured).filter(([, value]) => value !== null)) };
}

/** One check; its nodes stay, so that a button keeps its focus while numbers change. */
function checkItem(/** @type {() => void} */ goOn) {
  const title = el("span", {});
  const sign = el("span", { class: "sign" });
  const said = el("p", {});
  const todo = el("p", { class: "todo" });
  const reason = el("p", { class: "todo" });
  const without = el("button", { type: "button", class: "small", onclick: goOn });
  const node = el("li", {}, el("h2", {}, title, sign), said, todo, reason, without);
  return {
    node,
    draw(/** @type {any} */ check) {
      setText(title, check.title);
      setText(sign, SIGNS[/** @type {keyof typeof SIGNS} */ (check.standing)]);
      setText(said, withMinus(check.said));
      setText(todo, check.todo);
      setText(reason, check.reason && `Reason: ${check.reason}`);
      setText(without, `Go on without: ${check.title.toLowerCase()}`);
      setAttribute(without, "hidden", check.standing !== "open");
      setAttribute(node, "data-standing", check.standing);
    },
  };
}
