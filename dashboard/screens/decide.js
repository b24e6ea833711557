/** The decision: a first screenful to show a client, the fitter's choice beside it, and the evidence below. */
import { refusal } from "../barred.js";
import { look } from "../commands.js";
import { changes, el, setAttribute, setText } from "../dom.js";
import { number } from "../format.js";
import { asSentence } from "../trade_words.js";
import { besideTheNumber, restsOn, toChooseFrom, withoutWindow } from "../answer_words.js";
import { chosenPanel } from "./decide/chosen.js";
import { notSeen, tables, ways } from "./decide/evidence.js";
import { helps } from "./decide/helps.js";
import { optionAt, picture } from "./decide/picture.js";

/** The evidence is computed on request; a sweep of an earlier visit from its raw data. */
const COMPUTING_MS = 60_000;
/** The fitter's window tells the client's window of the same browser which setback is being considered. */
export const CHANNEL = "foreaft-decide";

/** @param {HTMLElement} root @param {import("../store.js").Store} store @returns {() => void} takes the screen away */
export function mount(root, store) {
  const channel = new BroadcastChannel(CHANNEL);
  const busy = el("p", { class: "here", role: "status" });
  const shown = picture(choose);
  const panel = chosenPanel(store, choose);
  const answer = el("p", { class: "window-line" });
  const below = el("div", { class: "evidence-below" });
  const body = el("div", { class: "decide", hidden: true }, el("div", { class: "show" }, shown.node, answer, below), panel.node);
  root.replaceChildren(el("h1", { class: "unseen" }, "Decide"), busy, body);
  const beside = el("select", { id: "compare", onchange: () => void refresh() });

  /** @type {any} */
  let found = null;
  /** @type {any} */
  let days = null;
  let asked = 0;

  function choose(/** @type {number|null} */ mm) {
    place(mm);
    panel.consider(mm);
  }
  function place(/** @type {number|null} */ mm) {
    shown.put(mm);
    panel.put(mm);
    if (found) panel.show(found, days, optionAt(found, mm));
    channel.postMessage({ visit_id: found?.visit_id, setback_mm: mm });
  }
  /** Nothing of the previous visit may remain under the head line of the next. */
  function clear() {
    found = days = null;
    setAttribute(body, "hidden", true);
    setText(busy, "");
    busy.className = "here";
  }
  async function refresh() {
    const mine = ++asked;
    setText(busy, "Working it out from what was ridden …");
    const query = beside.value ? `?compare=${beside.value}` : "";
    const told = await look(`/api/v1/visit/evidence${query}`, undefined, COMPUTING_MS);
    const foretold = told.signs ? await look("/api/v1/visit/days", undefined, COMPUTING_MS) : {};
    if (mine !== asked) return;
    busy.replaceChildren(...(told.signs ? [] : refusal({ text: told.problem ?? "", see: told.see })));
    setAttribute(body, "hidden", !told.signs);
    if (!told.signs) return void (busy.className = "warning");
    const first = found?.visit_id !== told.visit_id;
    [found, days] = [told, foretold.days ?? null];
    fillEarlier(beside, found.earlier);
    shown.show(found, days);
    setText(answer, answerWords(found));
    const open = new Set([...below.querySelectorAll("details[open] > summary")].map((each) => each.textContent));
    below.replaceChildren(...[ways(found), notSeen(found), helps(found, days, panel), ...found.differs.map((/** @type {string} */ text) => el("p", { class: "warning" }, asSentence(text))), ...tables(found, beside, answerWords(found))].filter((node) => node !== null));
    for (const each of below.querySelectorAll("details")) each.open = open.has(each.querySelector("summary")?.textContent ?? "");
    if (!first) return;
    const considered_mm = panel.begin(found);
    place(considered_mm ?? (found.chosen_mm === null ? found.present_mm : Math.round(found.chosen_mm)));
  }

  const changed = changes();
  const met = changes();
  const off = store.onFrame((state) => {
    const { visit, sweep } = state;
    if (met(visit?.id)) clear();
    if (changed(visit?.id, sweep?.accepts.length === 0, sweep?.sweep_id)) void refresh();
    panel.frame(state);
  });
  return () => {
    off();
    asked += 1;
    shown.close();
    panel.close();
    channel.close();
  };
}

/** What is suggested, the window behind it and its limit; without a window, why not. */
function answerWords(/** @type {any} */ { window_mm, sweeps, main, suggested }) {
  const onset = sweeps.find((/** @type {any} */ each) => each.sweep_id === main)?.onset;
  if (!suggested) return [withoutWindow(onset), restsOn(onset)].join(" ").trim();
  return [suggested.said, toChooseFrom(window_mm), besideTheNumber(onset)].filter(Boolean).join(" ");
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
