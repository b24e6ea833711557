/** What came of a finished proof: proved or not, what is likely wrong, and the tables for the rig file. */
import { el, setAttribute, setText } from "../../dom.js";
import { inTradeWords } from "../../trade_words.js";

/** @param {(path: string, body: object) => Promise<boolean>} act */
export function result(act) {
  const verdict = el("p", { class: "bench-task", role: "status" });
  const until = el("p", {});
  const why = el("ul");
  const lines = el("ul");
  const tables = el("pre", { class: "rig-tables", tabindex: 0 });
  const page = el("a", { class: "button", target: "_blank", rel: "noopener" }, "Certificate");
  const again = el("button", { type: "button", onclick: () => void act("/api/v1/proof/steps", { do: "again" }) }, "Last one again");
  const close = el("button", { type: "button", onclick: () => void act("/api/v1/proof/steps", { do: "leave" }) }, "Close");
  const node = el(
    "section",
    { class: "plate", "aria-label": "Result of the proof" },
    verdict,
    until,
    el("div", { class: "warning" }, why),
    el("details", {}, el("summary", {}, "All that was found"), lines),
    el("h2", {}, "Into the rig file"),
    el("p", { class: "here" }, "With these tables Plan, sheet and every answer say how scale and proof stand. They hold from the daemon’s next start."),
    tables,
    el("p", { class: "page-end" }, page, again, close),
  );

  function show(/** @type {{name: string, jig: string, result: any}} */ { name, jig, result: came }) {
    setText(verdict, `${jig}: ${came.passed ? "proved" : "not proved"}`);
    setText(until, came.passed ? `Valid to ${came.valid_until_utc.slice(0, 10)}, or until a part, its place, the calibration or the scale’s table changes.` : "");
    why.replaceChildren(...came.reasons.map((/** @type {string} */ each) => el("li", {}, inTradeWords(each))));
    lines.replaceChildren(...came.lines.map((/** @type {string} */ each) => el("li", {}, inTradeWords(each.trim()))));
    setText(tables, came.tables);
    setAttribute(page, "href", `/api/v1/proofs/${encodeURIComponent(name)}/certificate`);
  }
  return { node, show };
}
