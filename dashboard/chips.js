/** A choice as a row of chips: native radio buttons, so that arrows and Space work as usual; none is chosen at first. */
import { el } from "./dom.js";

let rows = 0;

/**
 * @param {string} legend @param {readonly (readonly [string, string])[]} options value and words of each
 * @param {(value: string) => void} chosen @param {{quiet?: boolean, class?: string}} [how] quiet: the legend is for screen readers
 */
export function chips(legend, options, chosen, how = {}) {
  const name = `chips-${++rows}`;
  const inputs = options.map(([value]) =>
    el("input", { type: "radio", class: "chip-input", name, value, id: `${name}-${value}`, onchange: () => chosen(value) }),
  );
  const node = el(
    "fieldset",
    { class: `chips-row ${how.class ?? ""}` },
    el("legend", { class: how.quiet ? "unseen" : "" }, legend),
    ...options.flatMap(([value, words], i) => [inputs[i], el("label", { for: `${name}-${value}` }, words)]),
  );
  return {
    node,
    /** What is chosen; null before anything is. @returns {string|null} */
    get: () => inputs.find((input) => input.checked)?.value ?? null,
    /** @param {string|null} value */
    set(value) {
      for (const input of inputs) input.checked = input.value === value;
    },
    /** @param {boolean} disabled */
    disable(disabled) {
      for (const input of inputs) input.disabled = disabled;
    },
  };
}

/** 0 to 10, one chip each. @param {string} legend @param {(score: number) => void} chosen @param {{quiet?: boolean}} [how] */
export function scoreChips(legend, chosen, how) {
  const scores = Array.from({ length: 11 }, (_, score) => /** @type {[string, string]} */ ([String(score), String(score)]));
  const row = chips(legend, scores, (value) => chosen(Number(value)), { ...how, class: "scores" });
  row.node.addEventListener("keydown", ({ key }) => {
    // A digit key sets the score directly: the arrows would take up to ten presses.
    if (!/^[0-9]$/.test(key)) return;
    row.set(key);
    chosen(Number(key));
  });
  return row;
}
