/** A new sweep: where from and to, how long, at what effort. */
import { el, setAttribute, setText } from "../dom.js";
import { clock, number } from "../format.js";
import { outAndBack } from "../positions.js";
import { sendPlan } from "../commands.js";
import { stopButton } from "./run/stop.js";

/** Moving the saddle and tightening it, s a step, for the estimate only. Common practice, no source. */
const MOVING_S = 20;

/** name, words, unit, value, least, most, step */
const FIELDS = /** @type {const} */ ([
  ["rear_mm", "Rear end", "mm behind the BB", 80, -100, 300, 1],
  ["front_mm", "Front end", "mm behind the BB", 30, -100, 300, 1],
  ["apart_mm", "Spacing", "mm", 5, 1, 30, 1],
  ["settle_s", "Settling, at least", "s", 6, 0, 120, 1],
  ["dwell_s", "Recording in the band", "s", 25, 3, 600, 1],
  ["power_w", "Power", "W", 200, 20, 600, 5],
  ["cadence_rpm", "Cadence", "rpm", 90, 40, 130, 1],
  ["gradient_pct", "Gradient", "%", 0, -10, 20, 0.5],
]);

/** @param {HTMLElement} root @param {import("../store.js").Store} store @returns {() => void} takes the screen away */
export function mount(root, store) {
  const inputs = Object.fromEntries(
    FIELDS.map(([name, , , value, min, max, step]) => [
      name,
      el("input", { type: "number", id: name, name, value, min, max, step, required: true, inputmode: "decimal" }),
    ]),
  );
  const protocol = el(
    "select",
    { id: "protocol" },
    el("option", { value: "reach kept" }, "reach kept: the bar moves with the saddle"),
    el("option", { value: "bar fixed" }, "bar fixed: the bar stays"),
  );
  const repeat = el("input", { type: "checkbox", id: "repeat", checked: true });
  const order = el("p", { class: "plan-order", role: "status" });
  const problem = el("p", { class: "plan-problem", role: "alert" });
  const begin = el("button", { type: "submit", class: "main" }, "Set this plan");
  const stop = stopButton(store);
  const form = el(
    "form",
    { class: "plan", onsubmit: submit },
    el("h1", {}, "Plan a sweep"),
    ...FIELDS.map(([name, words, unit]) =>
      el("p", { class: "field" }, el("label", { for: name }, words), inputs[name], el("span", {}, unit)),
    ),
    el("p", { class: "field" }, el("label", { for: "protocol" }, "Bar"), protocol),
    el(
      "p",
      { class: "field check" },
      repeat,
      el("label", { for: "repeat" }, "Repeat the first position at the end, to see drift"),
    ),
    order,
    problem,
    el("p", { class: "plan-end" }, begin, el("a", { href: "#run" }, "Back to the run"), stop.node),
  );
  root.replaceChildren(form);

  const value = (/** @type {string} */ name) => inputs[name].valueAsNumber;
  const positions = () => outAndBack(value("rear_mm"), value("front_mm"), value("apart_mm"), repeat.checked);

  async function submit(/** @type {Event} */ event) {
    event.preventDefault();
    const plan = {
      positions_mm: positions(),
      protocol: protocol.value,
      ...Object.fromEntries(
        ["dwell_s", "settle_s", "gradient_pct", "power_w", "cadence_rpm"].map((name) => [name, value(name)]),
      ),
    };
    if (await sendPlan(store, plan)) location.hash = "#run";
  }

  return store.onFrame((state) => {
    const all = positions();
    const busy = state.sweep?.accepts.includes("stop") && state.sweep.state !== "waiting";
    const time_s = all.length * (MOVING_S + value("settle_s") + value("dwell_s"));
    setText(
      order,
      all.length
        ? `${all.length} steps, about ${clock(time_s)} min: ${all.map((mm) => number(mm)).join(", ")} mm`
        : "The rear end must lie behind the front end, and the spacing above 0 mm.",
    );
    setText(problem, busy ? "A sweep is running: stop or finish it first." : (state.problem ?? ""));
    setAttribute(stop.node, "hidden", !busy);
    stop.draw(state);
    setAttribute(begin, "disabled", busy || all.length === 0 || state.sending !== null);
  });
}
