/** The setback to choose, as a marker on the chart: dragged, or moved with the arrows, 1 mm each, 5 with Shift. */
import { setAttribute, svg } from "../../dom.js";
import { number } from "../../format.js";

/** Further to the left than this the marker would stand on the name of the loads, which then goes to the right, px. */
const NAMED_PX = 150;

/**
 * @param {SVGSVGElement} chart @param {import("../../scales.js").Scale} x @param {import("./chart.js").Frame} f
 * @param {[number, number]} ends rearmost and foremost, mm
 * @param {((mm: number) => void)|null} moved null: it is only shown
 */
export function marker(chart, x, f, [rear, front], moved) {
  const name = svg("text", { class: "marker-name", "text-anchor": "middle", y: 24 });
  const sides = moved ? svg("path", { class: "marker-sides", d: "M-33,18l-7,6l7,6M33,18l7,6l-7,6" }) : null;
  const node = svg(
    "g",
    {
      class: "marker",
      ...(moved && { role: "slider", tabindex: 0, "aria-label": "Setback to choose, mm behind the bottom bracket", "aria-valuemin": front, "aria-valuemax": rear }),
    },
    svg("path", { class: "marker-line", d: `M0,36V${f.bottom}M0,${f.strip - 44}V${f.strip}` }),
    svg("path", { class: "marker-head", d: "M-27,2H27V30L0,42L-27,30Z" }),
    name,
    sides,
  );
  let at = rear;
  const axis = chart.querySelector(".load-name");
  const within = (/** @type {number} */ mm) => Math.min(rear, Math.max(front, Math.round(mm)));
  function put(/** @type {number} */ mm) {
    at = within(mm);
    setAttribute(node, "transform", `translate(${x(at)},0)`);
    name.textContent = number(mm);
    const right = x(at) < NAMED_PX;
    if (axis) setAttribute(axis, "x", right ? f.right : 2);
    if (axis) setAttribute(axis, "text-anchor", right ? "end" : "start");
    if (!moved) return;
    setAttribute(node, "aria-valuenow", mm);
    setAttribute(node, "aria-valuetext", `${number(mm)} mm`);
  }
  const go = (/** @type {number} */ mm) => {
    put(within(mm));
    moved?.(at);
  };
  chart.append(node);
  if (moved) {
    const pxToMm = (/** @type {PointerEvent} */ event) => {
      const box = chart.getBoundingClientRect();
      const px = ((event.clientX - box.left) * f.width) / box.width;
      return rear + ((px - f.left) * (front - rear)) / (f.right - f.left);
    };
    node.addEventListener("pointerdown", (event) => {
      node.setPointerCapture(event.pointerId);
      event.preventDefault();
      node.focus();
    });
    node.addEventListener("pointermove", (event) => node.hasPointerCapture(event.pointerId) && go(pxToMm(event)));
    // Rearward is more setback and lies on the left, as on the run.
    const by = /** @type {Record<string, number>} */ ({ ArrowLeft: 1, ArrowDown: 1, ArrowRight: -1, ArrowUp: -1 });
    node.addEventListener("keydown", (event) => {
      const step = by[event.key];
      if (step) go(at + step * (event.shiftKey ? 5 : 1));
      else if (event.key === "Home" || event.key === "End") go(event.key === "Home" ? rear : front);
      else return;
      event.preventDefault();
      event.stopPropagation();
    });
  }
  return { put, node };
}
