/** The rider's own screen: cadence and power, nothing that tells where the saddle is or what the hands carry. */
import { el, setAttribute, setText } from "../dom.js";
import { rpm, watts } from "../format.js";
import { drawEffort, gauge } from "./run/effort.js";
import { stopButton } from "./run/stop.js";

const WORDS = {
  paused: "Rest",
  stopped: "Stop pedalling",
  finished: "Done. Spin down.",
  settling: "Keep pedalling",
  averaging: "Keep pedalling",
};

/** @param {HTMLElement} root @param {import("../store.js").Store} store @returns {() => void} takes the screen away */
export function mount(root, store) {
  const words = el("p", { class: "rider-words", role: "status" });
  const cadence = gauge("Cadence", rpm, "rpm");
  const power = gauge("Power", watts, "W");
  const stop = stopButton(store);
  root.replaceChildren(
    el("h1", { class: "unseen" }, "Rider"),
    el(
      "div",
      { class: "rider" },
      words,
      cadence.node,
      power.node,
      el("p", { class: "rider-caution" }, "Anything hurts or goes numb: say stop, or press it."),
      stop.node,
    ),
  );
  return store.onFrame((state, now_ms) => {
    const unanswered = state.problem?.startsWith("STOP");
    setText(
      words,
      unanswered ? WORDS.stopped : (WORDS[/** @type {keyof typeof WORDS} */ (state.sweep?.state ?? "")] ?? ""),
    );
    setAttribute(words, "data-empty", words.textContent === "" ? true : undefined);
    drawEffort(state, now_ms, cadence, power);
    stop.draw(state);
  });
}
