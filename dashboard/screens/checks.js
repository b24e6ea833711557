/** What has to be checked before a sweep, in the order in which it disturbs the answer; each with the action that closes it. */
import { ask } from "../commands.js";
import { changes, el, setAttribute, setText } from "../dom.js";
import { nextButton } from "../next.js";
import { inTradeWords } from "../trade_words.js";
import { actOf } from "./checks/acts.js";
import { feetOffPlate } from "./feet_off.js";
import { zeroPlate } from "./zero.js";

/** @typedef {import("../store.js").Store} Store @typedef {import("../state.js").State} State */

const SIGNS = { done: "✓ done", open: "▲ open", overridden: "■ going on without" };

/** @param {HTMLElement} root @param {Store} store @returns {() => void} takes the screen away */
export function mount(root, store) {
  const triage = el("p", { class: "note" });
  const list = el("ol", { class: "checks" });
  const nobody = el("p", { class: "warning" }, "No client is chosen: a sweep now is a trial and needs no checks.");
  const ready = el("p", { class: "ready", role: "status" });
  const next = nextButton("#checks");
  const zero = zeroPlate(store);
  const feetOff = feetOffPlate(store);
  const checks = el("section", { class: "plate", "aria-label": "Checks" }, triage, list);
  const zeros = el("details", {}, el("summary", {}, "Zero again, and of the power sensor"), zero.node);
  const beside = el("aside", { class: "checks-beside", "aria-label": "Beside the checks" }, ready, el("p", { class: "page-end" }, next.node), zeros, feetOff.node);
  root.replaceChildren(el("div", { class: "page" }, el("h1", {}, "Before the sweep"), nobody, el("div", { class: "checks-page" }, checks, beside)));

  const listed = changes();
  /** @type {ReturnType<typeof checkItem>[]} */
  let items = [];
  return store.onFrame((/** @type {State} */ state) => {
    const { visit } = state;
    setAttribute(nobody, "hidden", Boolean(visit));
    setAttribute(checks, "hidden", !visit);
    setAttribute(feetOff.node, "hidden", !visit || Boolean(state.rig?.typed) || Boolean(state.rig?.not_measured.includes("saddle")));
    next.draw(state);
    zero.draw(state);
    setAttribute(zeros, "hidden", Boolean(state.rig?.typed));
    feetOff.draw(state);
    if (!visit) return;
    setText(triage, visit.triage);
    const keys = visit.checks.map((/** @type {any} */ each) => each.key);
    if (listed(visit.id, keys.join())) {
      items = keys.map((/** @type {string} */ key) => checkItem(store, key));
      list.replaceChildren(...items.map((each) => each.node));
    }
    items.forEach((item, i) => item.draw(visit.checks[i], state));
    setText(ready, visit.in_the_way ? inTradeWords(visit.in_the_way) : "Ready: the sweep may begin.");
    setAttribute(ready, "data-ready", !visit.in_the_way);
  });
}

/** One check; its nodes stay, so that a button keeps its focus while numbers change. @param {Store} store @param {string} key */
function checkItem(store, key) {
  const title = el("span", {});
  const sign = el("span", { class: "sign" });
  const said = el("p", {});
  const todo = el("p", { class: "todo" });
  const why = el("p", { class: "todo" });
  const act = actOf(store, key);
  const without = el("summary", {});
  const reason = el("input", { type: "text", id: `without-${key}`, maxlength: 500, autocomplete: "off" });
  const going = el(
    "details",
    { class: "without", ontoggle: () => going.open && reason.focus() },
    without,
    el("form", { onsubmit: goOn }, el("label", { for: `without-${key}` }, "Reason to go on, printed"), reason, el("button", { type: "submit" }, "Go on")),
  );
  const open = el("div", { class: "check-act" }, act.node, going);
  const node = el("li", {}, el("h2", {}, title, sign), said, todo, why, open);

  function goOn(/** @type {Event} */ event) {
    event.preventDefault();
    store.inTurn(goOnNow);
  }
  async function goOnNow() {
    const kept = await ask(store, "override", "POST", "/api/v1/visit/overrides", { check: key, reason: reason.value.trim() });
    if (kept) Object.assign(reason, { value: "" });
    else reason.focus();
  }
  return {
    node,
    draw(/** @type {any} */ check, /** @type {State} */ state) {
      setText(title, check.title);
      setText(sign, SIGNS[/** @type {keyof typeof SIGNS} */ (check.state)]);
      setText(said, inTradeWords(check.said));
      setText(todo, check.state === "open" ? inTradeWords(check.todo) : "");
      setText(why, check.reason && `Reason: ${check.reason}`);
      setText(without, `Go on without: ${check.title.toLowerCase()}`);
      setAttribute(open, "hidden", check.state !== "open");
      setAttribute(node, "data-state", check.state);
      act.draw(state);
    },
  };
}
