/** The live run: what to do, the answer so far, where the weight rests, the controls. */
import { el } from "../dom.js";
import { answerPanel } from "./run/answer.js";
import { dock } from "./run/dock.js";
import { effortPanel } from "./run/effort.js";
import { loadsPanel } from "./run/loads.js";
import { nowPanel } from "./run/now.js";
import { saysPanel } from "./run/says.js";
import { stripsPanel } from "./run/strips.js";

/** @param {HTMLElement} root @param {import("../store.js").Store} store @returns {() => void} takes the screen away */
export function mount(root, store) {
  const answer = answerPanel(store);
  const now = nowPanel();
  const loads = loadsPanel(store);
  const effort = effortPanel();
  const strips = stripsPanel(store);
  const says = saysPanel(store);
  const controls = dock(store);
  root.replaceChildren(
    el("h1", { class: "unseen" }, "Setback sweep"),
    el("div", { class: "run" }, now.node, answer.node, effort.node, loads.node, strips.node, says.node),
    controls.node,
  );
  const off = store.onFrame((state, now_ms) => {
    answer.draw(state);
    now.draw(state);
    loads.draw(state, now_ms);
    effort.draw(state, now_ms);
    strips.draw(state, now_ms);
    says.draw(state);
    controls.draw(state);
  });
  return () => {
    off();
    answer.close();
    strips.close();
  };
}
