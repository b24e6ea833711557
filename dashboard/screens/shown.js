/** The client's screen: what Decide shows first, without names and without controls; it follows the fitter's marker. */
import { look } from "../commands.js";
import { changes, el, setAttribute, setText } from "../dom.js";
import { millimetres, number } from "../format.js";
import { CHANNEL } from "./decide.js";
import { comparedWithNow, following, optionAt, picture, stagesLine } from "./decide/picture.js";

const COMPUTING_MS = 60_000;
const COMES = "The answer comes here when the ride is done.";
const COMPUTES = "Working it out from what was ridden …";

/** @param {HTMLElement} root @param {import("../store.js").Store} store @returns {() => void} takes the screen away */
export function mount(root, store) {
  const channel = new BroadcastChannel(CHANNEL);
  const shown = picture(null);
  const setback = el("p", { class: "shown-setback" });
  const compared = el("p", { class: "compared" });
  const rows = el("dl", { class: "follows" });
  const stages = el("div", {});
  const chosen = el("section", { class: "chosen", "aria-label": "Where it goes" }, setback, compared, rows, stages);
  const suggested = el("p", { class: "window-line" });
  const body = el("div", { class: "decide", hidden: true }, el("div", { class: "show" }, shown.node, suggested), chosen);
  const waits = el("p", { class: "shown-waits" });
  root.replaceChildren(el("h1", { class: "unseen" }, "What was found"), waits, body);
  /** @type {any} */
  let found = null;
  /** @type {any} */
  let days = null;
  let asked = 0;

  function put(/** @type {number|null} */ mm) {
    const option = optionAt(found, mm);
    shown.put(mm);
    setAttribute(chosen, "hidden", mm === null);
    setText(setback, millimetres(mm));
    setText(compared, comparedWithNow(found, days, option));
    const there = option?.place ?? {};
    const set = [["Saddle height", there.height_mm], ["Bar ahead of the bottom bracket", there.bar_x_mm]].filter(([, value]) => typeof value === "number");
    rows.replaceChildren(...[...set.map(([words, value]) => [words, `${number(value)}\u00a0mm`]), ...following(found, days, option)].flatMap(([words, value]) => [el("dt", {}, words), el("dd", {}, value)]));
    stages.replaceChildren(stagesLine(option, found?.present_mm ?? null));
  }
  async function refresh() {
    const mine = ++asked;
    found = null;
    setAttribute(body, "hidden", true);
    setAttribute(waits, "hidden", null);
    setText(waits, COMES);
    if (!store.state.visit) return;
    if (store.state.steps.length) setText(waits, COMPUTES);
    const told = await look("/api/v1/visit/evidence", undefined, COMPUTING_MS);
    const foretold = told.main ? await look("/api/v1/visit/days", undefined, COMPUTING_MS) : {};
    if (mine !== asked) return;
    if (!told.main) return setText(waits, COMES);
    [found, days] = [told, foretold.days ?? null];
    setAttribute(body, "hidden", null);
    setAttribute(waits, "hidden", true);
    shown.show(found, days);
    setText(suggested, found.suggested?.said ?? "");
    put(found.chosen_mm === null ? null : Math.round(found.chosen_mm));
  }
  channel.onmessage = ({ data }) => found && data.visit_id === found.visit_id && put(data.setback_mm);

  const changed = changes();
  const off = store.onFrame(({ visit, sweep }) => {
    if (changed(visit?.id, sweep?.accepts.length === 0, sweep?.sweep_id, JSON.stringify(visit?.decision ?? null))) void refresh();
  });
  return () => {
    off();
    asked += 1;
    shown.close();
    channel.close();
  };
}
