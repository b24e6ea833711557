/** What to do now, in letters that can be read from three metres. */
import { el, setAttribute, setProperty, setText } from "../../dom.js";
import { clock, millimetres } from "../../format.js";
import { instruction, progress } from "../../words.js";

/** @typedef {import("../../state.js").State} State */

export function nowPanel() {
  const where = el("h2", { id: "now-title" });
  const left = el("p", { class: "time-left" });
  const lead = el("p", { class: "lead" });
  const value = el("span", { class: "value" });
  const unit = el("span", { class: "unit" });
  const detail = el("p", { class: "detail" });
  const bar = el("div", { class: "progress" }, el("div", { class: "progress-done" }));
  const spoken = el("p", { class: "unseen", role: "status" });
  const number = el("p", { class: "figure" }, value, " ", unit);
  const node = el(
    "section",
    { class: "now", "aria-labelledby": "now-title" },
    el("header", {}, where, left),
    lead,
    number,
    bar,
    detail,
    spoken,
  );

  /** @param {State} state */
  function draw(state) {
    const said = instruction(state);
    const { sweep } = state;
    setText(where, progress(state) || "Now");
    setText(
      left,
      sweep?.seconds_left && sweep.accepts.includes("stop") && sweep.state !== "waiting"
        ? `${sweep.order === "adaptive" ? "at most" : "about"} ${clock(sweep.seconds_left)} left`
        : "",
    );
    setText(lead, said.lead);
    setText(value, said.value);
    setText(unit, said.unit);
    setText(detail, said.detail);
    setAttribute(number, "hidden", said.value === "");
    setAttribute(node, "data-stale", state.link.state !== "open");
    setAttribute(node, "data-waits", said.waits);
    setAttribute(node, "data-why", Boolean(sweep?.why_here));
    setAttribute(node, "data-state", sweep?.state ?? "none");
    drawBar(bar, sweep);
    setText(spoken, announcement(state, said));
  }
  return { node, draw };
}

/** Changes with the state only, so that a screen reader is not read every second. */
function announcement(/** @type {State} */ state, /** @type {import("../../words.js").Instruction} */ said) {
  const target = state.sweep?.state === "moving" ? ` ${millimetres(state.sweep.asked_setback_mm)}` : "";
  return `${progress(state)}. ${said.lead}${target}`;
}

function drawBar(/** @type {HTMLElement} */ bar, /** @type {State["sweep"]} */ sweep) {
  const shown = sweep?.state === "averaging" && sweep.dwell_left_s !== null && sweep.dwell_s > 0;
  setAttribute(bar, "data-on", shown || undefined);
  const done = shown && sweep ? 1 - (sweep.dwell_left_s ?? 0) / sweep.dwell_s : 0;
  setProperty(bar, "--done", Math.min(1, Math.max(0, done)).toFixed(3));
}
