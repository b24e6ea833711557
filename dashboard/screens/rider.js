/** The rider's own screen: the state, cadence and power; nothing that tells where the saddle is or what the hands carry. */
import { el, setAttribute, setText } from "../dom.js";
import { rpm, watts } from "../format.js";
import { glance, PEDAL } from "../glance.js";
import { band } from "./run/band.js";
import { drawEffort, gauge } from "./run/effort.js";
import { stopButton } from "./run/stop.js";

/** @param {HTMLElement} root @param {import("../store.js").Store} store @returns {() => void} takes the screen away */
export function mount(root, store) {
  const across = band();
  const words = el("p", { class: "rider-words", role: "status" });
  const cadence = gauge("Cadence", rpm, "rpm");
  const power = gauge("Power", watts, "W");
  const stop = stopButton(store);
  root.replaceChildren(
    el("h1", { class: "unseen" }, "Rider"),
    el(
      "div",
      { class: "rider" },
      across.node,
      words,
      cadence.node,
      power.node,
      el("p", { class: "rider-caution" }, "Anything hurts or goes numb: say stop, or press it."),
      stop.node,
    ),
  );
  return store.onFrame((state, now_ms) => {
    const seen = glance(state, now_ms);
    across.draw({ ...seen, said: "" }, "");
    setText(words, seen.rider);
    setAttribute(words, "data-empty", seen.rider === "" ? true : undefined);
    drawEffort(state, now_ms, cadence, power);
    // Where nobody is asked to pedal: one thing at a time.
    const pedals = seen.kind === "ready" || seen.rider === PEDAL;
    for (const each of [cadence, power]) setAttribute(each.node, "hidden", !pedals);
    stop.draw(state);
  });
}
