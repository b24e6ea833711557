/** Cadence and power, each against its band, and the attitude of the jig. */
import { el, setAttribute, setProperty, setText } from "../../dom.js";
import { degrees, gradient, newtonMetres, range, rpm, watts } from "../../format.js";
import { loadsFreshness, powerFreshness, strokeFreshness } from "../../fresh.js";
import { bandSign } from "../../words.js";

/** @typedef {import("../../state.js").State} State */

/**
 * The band takes the middle third of the gauge; beyond its ends the needle stops.
 * @param {number} value
 * @param {[number, number]} band
 */
export function needle(value, [low, high]) {
  return Math.min(1, Math.max(0, 1 / 3 + (value - low) / (high - low) / 3));
}

/** @param {string} name @param {(value: number|null|undefined) => string} withUnit @param {string} unit */
export function gauge(name, withUnit, unit) {
  const value = el("span", { class: "gauge-value" });
  const sign = el("span", { class: "gauge-sign" });
  const band = el("span", { class: "gauge-band" });
  const beside = el("small", {});
  const pointer = el("div", { class: "gauge-needle" });
  const scale = el(
    "div",
    { class: "gauge-scale", "aria-hidden": "true" },
    el("div", { class: "gauge-middle" }),
    pointer,
  );
  const node = el(
    "div",
    { class: "gauge" },
    el("h2", { class: "gauge-name" }, name, " ", beside),
    value,
    el("p", {}, sign, " ", band),
    scale,
  );

  /**
   * @param {number|null|undefined} reading
   * @param {[number, number]|null|undefined} limits
   * @param {import("../../fresh.js").Freshness} fresh @param {string} [under] what the number holds for
   */
  function draw(reading, limits, fresh, under = "") {
    setText(beside, under);
    const { where, words } = bandSign(reading, limits, withUnit);
    setText(value, withUnit(reading));
    setText(sign, fresh.live ? words : fresh.words);
    setText(band, limits ? range(limits, unit) : "");
    setAttribute(node, "data-where", fresh.live ? where : "stale");
    setAttribute(node, "data-stale", !fresh.live);
    const known = typeof reading === "number" && limits;
    setAttribute(pointer, "hidden", !known);
    if (known) setProperty(scale, "--at", needle(reading, limits).toFixed(3));
  }
  return { node, draw };
}

/** The power of this stroke's torque at the cadence of the plan, for which there is one band whatever is ridden. */
function atPlan(/** @type {State["stroke"]} */ stroke, /** @type {number|null} */ cadence_rpm) {
  if (stroke?.power_w === null || stroke?.power_w === undefined || cadence_rpm === null) return stroke?.power_w;
  return (stroke.power_w * cadence_rpm) / stroke.cadence_rpm;
}

const middle = (/** @type {[number, number]|undefined} */ band) => (band ? (band[0] + band[1]) / 2 : null);

/**
 * Cadence and power as they are judged: means of the last strokes, outside a step those of the last stroke. The power is
 * that of the same torque at the plan's cadence: its target and its band stand still while the cadence moves.
 * @param {State} state @param {number} now_ms
 * @param {ReturnType<typeof gauge>} cadence @param {ReturnType<typeof gauge>} power
 */
export function drawEffort(state, now_ms, cadence, power) {
  const { stroke, sweep } = state;
  const held = sweep?.effort;
  const at_rpm = middle(sweep?.cadence_band_rpm);
  cadence.draw(held?.cadence_rpm ?? stroke?.cadence_rpm, sweep?.cadence_band_rpm, strokeFreshness(state, now_ms));
  power.draw(held?.effort_w ?? atPlan(stroke, at_rpm), sweep?.power_band_w, powerFreshness(state, now_ms), at_rpm === null ? "" : `${watts(middle(sweep?.power_band_w))}, ${rpm(at_rpm)}`);
}

export function effortPanel() {
  const cadence = gauge("Cadence", rpm, "rpm");
  const power = gauge("Power", watts, "W");
  const torque = el("dd", {});
  const tilt = el("dd", {});
  const slope = el("dd", {});
  const attitude = el(
    "dl",
    { class: "attitude" },
    el("div", {}, el("dt", {}, "Crank torque"), torque),
    el("div", {}, el("dt", {}, "Tilt"), tilt),
    el("div", {}, el("dt", {}, "Gradient"), slope),
  );
  const node = el(
    "section",
    { class: "effort", "aria-label": "Cadence, power and tilt" },
    cadence.node,
    power.node,
    attitude,
  );

  /** @param {State} state @param {number} now_ms */
  function draw(state, now_ms) {
    const { stroke, sweep } = state;
    drawEffort(state, now_ms, cadence, power);
    const held = sweep?.torque_band_nm ? `, band ${range(sweep.torque_band_nm, "N\u202fm", 1)}` : "";
    setText(torque, stroke?.crank_torque_nm === null ? "unknown" : newtonMetres(stroke?.crank_torque_nm) + held);
    setText(tilt, degrees(stroke?.tilt_deg));
    setText(slope, gradient(stroke?.gradient_pct));
    setAttribute(attitude, "data-stale", !loadsFreshness(state, now_ms).live);
  }
  return { node, draw };
}
