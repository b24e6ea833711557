/** The live run: the state in one band, what to do, the answer so far, how the weight is shared, the controls. */
import { el, setAttribute } from "../dom.js";
import { clock } from "../format.js";
import { glance } from "../glance.js";
import { answerPanel } from "./run/answer.js";
import { band } from "./run/band.js";
import { dock } from "./run/dock.js";
import { effortPanel } from "./run/effort.js";
import { loadsPanel } from "./run/loads.js";
import { nowPanel } from "./run/now.js";
import { saysPanel } from "./run/says.js";

/** @typedef {import("../state.js").State} State */

/** @param {HTMLElement} root @param {import("../store.js").Store} store @returns {() => void} takes the screen away */
export function mount(root, store) {
  const across = band();
  const answer = answerPanel(store);
  const now = nowPanel(store);
  const loads = loadsPanel(store);
  const effort = effortPanel();
  const says = saysPanel(store);
  const controls = dock(store);
  const run = el("div", { class: "run" }, now.node, says.node, answer.node, loads.node, effort.node, answer.card);
  root.replaceChildren(
    el("h1", { class: "unseen" }, "Setback sweep"),
    across.node,
    run,
    controls.node,
  );
  const off = store.onFrame((state, now_ms) => {
    const seen = glance(state, now_ms);
    setAttribute(run, "data-typed", state.rig?.typed ? true : undefined);
    across.draw(seen, beside(state, seen));
    answer.draw(state);
    now.draw(state, seen, now_ms);
    loads.draw(state, now_ms);
    effort.draw(state, now_ms);
    says.draw(state);
    controls.draw(state, seen);
  });
  return () => {
    off();
    answer.close();
    loads.close();
  };
}

/** At the band's other end: what waits of a fault, else how long the sweep still takes. */
function beside(/** @type {State} */ { sweep }, /** @type {import("../glance.js").Glance} */ { trouble }) {
  if (trouble) return "nothing recorded is lost";
  if (!sweep?.seconds_left || !sweep.accepts.includes("stop") || sweep.state === "waiting") return "";
  return `${sweep.order === "adaptive" ? "at most" : "about"} ${clock(sweep.seconds_left)} left`;
}
