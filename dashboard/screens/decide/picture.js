/** What can be shown to a client: the sentence, the chart with its marker, and what follows from the setback chosen. */
import { changes, el, setAttribute, setText } from "../../dom.js";
import { number, percent } from "../../format.js";
import { asSentence } from "../../trade_words.js";
import { stepPoints } from "../../step_points.js";
import { chart, chartPoints, ends, inWords, legend } from "./chart.js";
import { marker } from "./marker.js";

/** @param {((mm: number) => void)|null} moved null: nobody moves it here */
export function picture(moved) {
  const sentence = el("p", { class: "sentence" });
  const points = stepPoints(true);
  const host = points.node;
  host.classList.add("decide-chart");
  const words = el("p", { class: "unseen" });
  const names = el("div", {});
  const hurt = el("p", { class: "hurt", role: "status" });
  const node = el("section", { class: "answer-picture", "aria-label": "Answer" }, sentence, words, host, names, hurt);
  /** @type {any} */
  let found = null;
  /** @type {any} */
  let days = null;
  /** @type {ReturnType<typeof marker>|null} */
  let mark = null;
  /** @type {number|null} */
  let at = null;
  const size = changes();

  function draw() {
    const [width, height] = [host.clientWidth, host.clientHeight];
    if (!found?.sweeps.length || !width || !height || !size(found, days, width, height)) return;
    const focused = document.activeElement === mark?.node;
    const drawn = chart(found, days, width, height);
    points.put(drawn.node, moved ? chartPoints(found, drawn) : []);
    mark = marker(drawn.node, drawn.x, drawn.frame, ends(found), moved);
    if (at !== null) mark.put(at);
    setAttribute(mark.node, "visibility", at === null ? "hidden" : null);
    if (focused) mark.node.focus();
  }
  const watch = new ResizeObserver(draw);
  watch.observe(host);
  return {
    node,
    /** @param {any} evidence @param {any} foretold */
    show(evidence, foretold) {
      if (found?.visit_id !== evidence.visit_id) points.clear();
      [found, days] = [evidence, foretold];
      setText(sentence, evidence.found);
      setText(words, inWords(evidence.sweeps));
      setAttribute(host, "hidden", !evidence.sweeps.length);
      setText(hurt, painWords(evidence.sweeps));
      names.replaceChildren(...legend(evidence));
      draw();
    },
    /** @param {number|null} mm */
    put(mm) {
      at = mm;
      if (mark && mm !== null) mark.put(mm);
      if (mark) setAttribute(mark.node, "visibility", mm === null ? "hidden" : null);
    },
    close: () => watch.disconnect(),
  };
}

/** "Pain or numbness while riding: knee front, right, 5 of 10, at 45 mm." @param {any[]} sweeps */
function painWords(sweeps) {
  const said = sweeps.flatMap((each) => each.pains.map((/** @type {any} */ one) => one.said));
  return said.length ? `Pain or numbness while riding: ${said.join(". ")}.` : "";
}

/** The option at a setback. @param {any} found @param {number|null} mm */
export const optionAt = (found, mm) => (mm === null ? null : (found?.options.find((/** @type {any} */ each) => Math.abs(each.place.setback_mm - mm) < 0.5) ?? null));

/** What follows, in rows of label and value; unknown values say so. @param {any} found @param {any} days @param {any} option @returns {[string, string][]} */
export function following(found, days, option) {
  if (!option) return [];
  const present = found.options.find((/** @type {any} */ each) => each.place.setback_mm === Math.round(found.present_mm));
  const [share, before] = [option.front_share, present?.front_share];
  const another = days?.another_day_mm;
  /** @type {[string, string][]} */
  const rows = [];
  if (share.value !== null) rows.push(["Weight on the front wheel", `${before?.value ? `${number(100 * before.value, 1)} → ` : ""}${number(100 * share.value, 1)}\u00a0%`]);
  if (another) rows.push(["On another day the hands begin to carry between", `${end(another[0])} and ${end(another[1])}\u00a0mm`]);
  if (option.reaching.reachable !== null) rows.push(["Reachable on the own bicycle", option.reaching.reachable ? "yes" : "no"]);
  if (option.reaching.move) rows.push(["There, from where it is now", option.reaching.move.replace(/^from where it is now: |, the leg's extension kept$/g, "")]);
  return rows;
}

const end = (/** @type {number|null} */ mm) => (mm === null ? "?" : number(mm));

/** Its position relative to the present setback, and the chance that the hands already carry more. @param {any} found @param {any} days @param {any} option */
export function comparedWithNow(found, days, option) {
  if (!option) return "Not ridden: no number goes with this place.";
  const mm = option.place.setback_mm;
  const by = found.present_mm === null ? null : Math.round(mm - found.present_mm);
  const moved = by === null ? "" : by === 0 ? "where it is today" : `${number(Math.abs(by))} mm ${by < 0 ? "forward of" : "behind"} today`;
  const other = days?.chances?.length ? days.chances.reduce((/** @type {any} */ near, /** @type {any} */ each) => (Math.abs(each.setback_mm - mm) < Math.abs(near.setback_mm - mm) ? each : near)) : null;
  const chance = option.p_loaded === null ? "" : `chance that the hands already carry more here: today ${chanceOf(option.p_loaded)}${other ? `, another day ${chanceOf(other.another_day)}` : ""}`;
  return [moved, chance].filter(Boolean).map(asSentence).join(" ");
}

/** Never "0 %" or "100 %": nothing is that certain. @param {number} p */
const chanceOf = (p) => (p < 0.01 ? `under ${percent(0.01)}` : p > 0.99 ? `over ${percent(0.99)}` : percent(p));

/** The stages as a line, each with its day. @param {any} option @param {any} present */
export function stagesLine(option, present) {
  if (!option || option.stages.length < 2) return el("div", {});
  const stops = option.stages.map((/** @type {any} */ stage, /** @type {number} */ i) =>
    el("li", { class: i === option.stages.length - 1 ? "last" : "" }, el("b", {}, number(stage.place.setback_mm)), el("small", {}, i === 0 ? "today" : shortDay(stage.on))),
  );
  return el("div", { class: "stages" }, el("h2", {}, `In ${number(stops.length)} stages, a week each`), el("ol", {}, present === null ? null : el("li", { class: "first" }, el("b", {}, number(present)), el("small", {}, "now")), ...stops));
}

/** "5 Dec" @param {string} iso */
export const shortDay = (iso) => new Date(`${iso}T12:00:00`).toLocaleDateString("en-GB", { day: "numeric", month: "short" });
