/**
 * The steps of a chart as points: arrows go from one to the next, a tap takes the nearest, and a card beside it shows
 * every stroke of that step, its mean, and what was left out of it and why.
 *
 * @typedef {{path: string, px: number, py: number, name: string, words: string}} Point path: where the daemon tells of it
 */
import { look } from "./commands.js";
import { el, setAttribute, setText, svg } from "./dom.js";
import { strokeStrip, strokeTable, usedWords } from "./step_strokes.js";
import { newtonsFine, number } from "./format.js";
import { Z_95 } from "./scales.js";

/** A fingertip's reach, px. */
const REACH = 30;

/** @param {boolean} inside whether the card lies on the chart; else the caller gives it a place */
export function stepPoints(inside) {
  const title = el("strong", {});
  const mean = el("p", { class: "step-mean" });
  const picture = el("div", { class: "step-strokes", "aria-hidden": "true" });
  const used = el("p", {});
  const left_out = el("ul", {});
  const all = el("details", {}, el("summary", {}, "Every stroke"));
  const close = el("button", { type: "button", class: "small", onclick: () => choose(null) }, "Close");
  const card = el("section", { class: "step-card", "aria-label": "Strokes of a step", "aria-live": "polite", tabindex: "0", hidden: true }, el("header", {}, title, close), mean, picture, used, left_out, all);
  const host = el("div", { class: "chart-stand" });

  /** @type {Point[]} */
  let points = [];
  /** @type {SVGGElement|null} */
  let layer = null;
  /** @type {string|null} */
  let chosen = null;
  let asked = 0;

  /** The chart drawn anew, with these points on it. @param {SVGSVGElement} chart @param {Point[]} now */
  function put(chart, now) {
    const focused = layer !== null && document.activeElement === layer;
    const before = points.find(({ path }) => path === chosen)?.words;
    points = [...now].sort((a, b) => a.px - b.px);
    layer = points.length ? list() : null;
    if (layer) chart.append(layer);
    host.replaceChildren(chart, ...(inside ? [card] : []));
    if (focused) layer?.focus();
    // What a step rests on changes when it is ridden again.
    const after = points.find(({ path }) => path === chosen)?.words;
    if (chosen !== null && after !== before) void choose(after === undefined ? null : chosen);
    else mark();
  }
  function list() {
    const options = points.map(({ px, py, words }, i) =>
      svg("g", { role: "option", id: `point-${i}`, "aria-label": words, class: "step-point" }, svg("circle", { cx: px, cy: py, r: 14 })),
    );
    const names = { role: "listbox", tabindex: "0", "aria-label": "Steps ridden, rear to front: arrows show the strokes of each", class: "step-points" };
    const node = svg("g", { ...names, onkeydown: (/** @type {KeyboardEvent} */ event) => byArrow(event) }, ...options);
    return node;
  }
  /** @param {KeyboardEvent} event */
  function byArrow(event) {
    const at = points.findIndex(({ path }) => path === chosen);
    const to = { ArrowRight: at + 1, ArrowDown: at + 1, ArrowLeft: at < 0 ? points.length - 1 : at - 1, ArrowUp: at - 1, Home: 0, End: points.length - 1 }[event.key];
    if (to === undefined) return;
    event.preventDefault();
    event.stopPropagation();
    void choose(points[Math.min(points.length - 1, Math.max(0, to))].path);
  }
  /** The nearest point within reach; the same again closes its card. */
  host.addEventListener("click", (event) => {
    if (!(event.target instanceof Element) || event.target.closest(".step-card, [role=slider]")) return;
    const box = host.getBoundingClientRect();
    const [x, y] = [event.clientX - box.left, event.clientY - box.top];
    const far = (/** @type {Point} */ { px, py }) => Math.hypot(px - x, py - y);
    const nearest = [...points].sort((a, b) => far(a) - far(b))[0];
    if (nearest && far(nearest) <= REACH) void choose(nearest.path === chosen ? null : nearest.path);
  });
  /** A tap leaves the focus where it was: the arrows of Run move the setback. */
  host.addEventListener("pointerdown", (event) => event.target instanceof Element && event.target.closest(".step-points") && event.preventDefault());
  host.addEventListener("mousedown", (event) => event.target instanceof Element && event.target.closest(".step-points") && event.preventDefault());

  /** @param {string|null} path */
  async function choose(path) {
    const mine = ++asked;
    const fresh = chosen !== path;
    chosen = path;
    mark();
    if (path === null || fresh) setAttribute(card, "hidden", true);
    if (path === null) return;
    const told = await look(`/api/v1/${path}`);
    if (mine !== asked) return;
    show(told);
  }
  function mark() {
    const at = points.findIndex(({ path }) => path === chosen);
    [...(layer?.children ?? [])].forEach((option, i) => setAttribute(option, "aria-selected", String(i === at)));
    if (layer) setAttribute(layer, "aria-activedescendant", at < 0 ? null : `point-${at}`);
    const width = host.clientWidth;
    setAttribute(card, "data-side", at >= 0 && points[at].px < width / 2 ? "right" : "left");
  }
  /** @param {any} told */
  function show(told) {
    const point = points.find(({ path }) => path === chosen);
    if (!point) return;
    setText(title, `${point.name} · ${number(told.setback_mm)} mm`);
    setText(mean, told.problem ?? `${newtonsFine(told.hand_load_n)}${told.se_n === null ? ", error not known yet" : ` ± ${number(Z_95 * told.se_n, 1)}, 95 %`}`);
    const known = !told.problem;
    for (const each of [picture, used, left_out, all]) setAttribute(each, "hidden", !known);
    setAttribute(card, "hidden", null);
    if (!known) return;
    picture.replaceChildren(strokeStrip(told));
    const said = usedWords(told);
    setText(used, said.used);
    left_out.replaceChildren(...said.left_out.map((text) => el("li", {}, text)));
    all.replaceChildren(all.firstElementChild ?? "", strokeTable(told));
  }
  return {
    node: host,
    card,
    put,
    /** Nothing of one sweep stays beside the chart of the next. */
    clear: () => void choose(null),
  };
}
