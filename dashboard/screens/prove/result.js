/** What came of a finished proof: proved or not, what is likely wrong, and the tables for the rig file. */
import { el, setAttribute, setText } from "../../dom.js";
import { day, MISSING, number, withMinus } from "../../format.js";
import { capital, inTradeWords } from "../../trade_words.js";

/** @param {string} title @param {string[]} heads @param {Element} body */
function table(title, heads, body) {
  return el("table", { class: "proof-found" }, el("caption", {}, title), el("thead", {}, el("tr", {}, ...heads.map((head) => el("th", { scope: "col" }, head)))), body);
}

/** @param {string[]} cells */
function row(cells) {
  return el("tr", {}, ...cells.map((cell) => el("td", {}, cell)));
}

function answered(/** @type {any} */ one) {
  const interval = one.interval_95_mm?.map((/** @type {number} */ end) => number(end, 1)).join(" to ") ?? MISSING;
  const found = one.onset_mm === null ? capital(one.verdict) : number(one.onset_mm, 1);
  return row([String(one.placement), one.attitude === "climb" ? "climbing" : "level", number(one.dummy_mm, 1), found, interval, one.held ? "yes" : "no"]);
}

/** @param {(path: string, body: object) => Promise<boolean>} act */
export function result(act) {
  const verdict = el("p", { class: "bench-task", role: "status" });
  const until = el("p", {});
  const why = el("ul");
  const facts = el("ul");
  const figures = el("tbody");
  const answers = el("tbody");
  const tables = el("pre", { class: "rig-tables", tabindex: 0 });
  const page = el("a", { class: "button", target: "_blank", rel: "noopener" }, "Certificate");
  const again = el("button", { type: "button", onclick: () => void act("/api/v1/proof/steps", { do: "again" }) }, "Last one again");
  const close = el("button", { type: "button", onclick: () => void act("/api/v1/proof/steps", { do: "leave" }) }, "Close: the dummy is off");
  const node = el(
    "section",
    { class: "plate", "aria-label": "Result of the proof" },
    verdict,
    until,
    el("div", { class: "warning" }, why),
    el(
      "details",
      {},
      el("summary", {}, "All that was found"),
      facts,
      table("Parts, all together 95 %", ["part", "found", "likely at fault"], figures),
      table("Sweeps against the dummy", ["placement", "attitude", "dummy, mm", "found, mm", "95 % interval, mm", "held"], answers),
    ),
    el("h2", {}, "Into the rig file"),
    el("p", { class: "here" }, "With these tables Plan, sheet and every answer say how scale and proof stand. They hold from the daemon’s next start."),
    tables,
    el("p", { class: "page-end" }, page, again, close),
  );

  function show(/** @type {{name: string, jig: string, result: any}} */ { name, jig, result: came }) {
    setText(verdict, `${jig}: ${came.passed ? "proved" : "not proved"}`);
    setText(until, came.passed ? `Valid to ${day(came.valid_until_utc.slice(0, 10))}, or until a part, its place, the calibration or the scale’s table changes.` : "");
    why.replaceChildren(...came.reasons.map((/** @type {string} */ each) => el("li", {}, inTradeWords(each))));
    facts.replaceChildren(...came.facts.map((/** @type {string} */ each) => el("li", {}, inTradeWords(each))));
    figures.replaceChildren(...came.figures.map((/** @type {any} */ one) => row([capital(one.part), withMinus(one.shown), one.named ? "yes" : "no"])));
    answers.replaceChildren(...came.answers.map(answered));
    setText(tables, came.tables);
    setAttribute(page, "href", `/api/v1/proofs/${encodeURIComponent(name)}/certificate`);
  }
  return { node, show };
}
