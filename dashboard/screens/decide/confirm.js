/** The confirm ride: what it is still wanted for, what it showed, and why it is done without. */
import { jigTaken } from "../../barred.js";
import { ask, look } from "../../commands.js";
import { el, setAttribute, setText } from "../../dom.js";
import { field, read } from "../../form.js";
import { counted, number, withMinus } from "../../format.js";
import { asSentence } from "../../trade_words.js";

/** @typedef {import("../../store.js").Store} Store */

/** Moving the marker asks once it has come to rest. */
const REST_MS = 300;
/** What was ridden is computed from its raw, once. */
const COMPUTING_MS = 60_000;

/** @type {import("../../form.js").Row} */
const WITHOUT = { path: "not_confirmed", words: "Printed without that ride because", kind: "text" };

/** @param {Store} store @param {() => void} changed what is wanted, or the reason to go without, is another */
export function confirmPanel(store, changed) {
  const without = field(WITHOUT, "decision");
  const shown = el("div", {});
  const rides = el("span", { class: "confirm-rides" });
  const fold = el("details", { class: "confirm-without" }, el("summary", {}, "Print without riding again"), without.node);
  const barred = el("small", { class: "barred", role: "status" });
  const node = el("section", { class: "confirm", "aria-label": "Ridden again", hidden: true }, shown, fold);
  without.input.addEventListener("input", () => (draw(), changed()));
  /** @type {any} */
  let found = null;
  /** @type {number|null} */
  let at = null;
  /** @type {number|null} the place that `found` speaks of: a moment behind a marker that moves */
  let found_at = null;
  let waiting = 0;

  /** The ride is the main act until a reason stands there. */
  function draw() {
    const left = open();
    setAttribute(node, "hidden", !found?.wanted?.length);
    shown.replaceChildren(...(found?.confirmed ?? []).map(rideTable));
    rides.replaceChildren(...left.map((/** @type {any} */ one, /** @type {number} */ i) => rideButton(one, i === 0 && !reason())), barred);
    setAttribute(rides, "hidden", !left.length);
    setAttribute(fold, "hidden", !left.length);
  }
  const open = () => (found?.wanted ?? []).filter((/** @type {any} */ one) => !one.done);
  const reason = () => read(without);

  function rideButton(/** @type {any} */ one, /** @type {boolean} */ main) {
    const words = `Ride ${number(at)} and today’s place ${one.where}, ${counted(Math.ceil(one.minutes), "minute")}`;
    return el("button", { type: "button", class: main ? "main" : "", onclick: () => void ride(one) }, words);
  }
  async function ride(/** @type {any} */ one) {
    const body = { setback_mm: at, gradient_pct: one.gradient_pct };
    if (await ask(store, "confirm", "POST", "/api/v1/visit/confirm", body)) location.hash = "#checks";
  }
  async function refresh() {
    const asked = at;
    const told = asked === null ? null : await look(`/api/v1/visit/confirm?setback_mm=${asked}`, undefined, COMPUTING_MS);
    if (asked !== at) return;
    [found, found_at] = [told, asked];
    draw();
    changed();
  }
  return {
    node,
    /** @param {import("../../state.js").State} state */
    frame(state) {
      setText(barred, jigTaken(state)?.text ?? "");
      for (const button of rides.querySelectorAll("button")) setAttribute(button, "disabled", barred.textContent !== "" || state.sending !== null || at !== found_at);
    },
    /** The true next act while a ride is open. */
    rides,
    field: without,
    /** Whether the decision may be printed: ridden again, nothing to ride, or a reason. */
    ready: () => !open().length || reason() !== "",
    /** Whether that is known of the place the marker stands at. */
    known: () => at === found_at,
    draw,
    /** @param {number|null} mm */
    put(mm) {
      at = mm;
      if (at !== found_at) draw();
      clearTimeout(waiting);
      waiting = window.setTimeout(refresh, REST_MS);
    },
    /** Another visit. */
    begin() {
      found = at = found_at = null;
      draw();
    },
    close: () => clearTimeout(waiting),
  };
}

/** One confirm ride: both places and their difference with its interval. @param {any} ride */
function rideTable({ where, present_mm, chosen_mm, visits, blinded, differences }) {
  const known = differences.filter((/** @type {any} */ one) => one.difference !== null);
  const missing = together(differences.filter((/** @type {any} */ one) => one.difference === null));
  return el(
    "div",
    { class: "wide", tabindex: "0", role: "region", "aria-label": `Ridden again ${where}` },
    el(
      "table",
      {},
      el("caption", {}, `Ridden again ${where} by turns, ${[...visits.slice(0, -1).map((/** @type {number} */ each) => number(each)), counted(visits.at(-1), "time")].join(" and ")}${blinded ? ", the rider not knowing which" : ""}`),
      el("thead", {}, el("tr", {}, ...["", `today ${number(present_mm)}`, `new ${number(chosen_mm)}`, "difference, 95 %"].map((text) => el("th", { scope: "col" }, text)))),
      el("tbody", {}, ...known.map(row)),
    ),
    missing.length ? el("p", { class: "note" }, ...missing.map((/** @type {string} */ text) => `${asSentence(text)} `)) : "",
  );
}

/** What is not known, the rider's scores in one sentence. @param {any[]} missing @returns {string[]} */
function together(missing) {
  const of = "rider's score, ";
  const scores = missing.filter(({ what }) => what.startsWith(of));
  const others = missing.filter(({ what }) => !what.startsWith(of)).map(({ what, why_not }) => `${what}: not known, ${why_not}`);
  if (!scores.length) return others;
  return [...others, `${of}${scores.map(({ what }) => what.slice(of.length)).join(", ")}: not known, ${scores[0].why_not}`];
}

function row(/** @type {any} */ { what, unit, digits, present, chosen, difference, interval_95, clear }) {
  const of = unit === "points" ? "%" : unit;
  const by = `${Number(difference.toFixed(digits)) > 0 ? "+" : ""}${number(difference, digits)} (${number(interval_95[0], digits)} to ${number(interval_95[1], digits)})`;
  return el(
    "tr",
    { "data-clear": clear },
    el("th", { scope: "row" }, `${asSentence(what).replace(/\.$/, "")}, ${of}`),
    ...[number(present, digits), number(chosen, digits), withMinus(clear ? by : `${by}: none shown`)].map((text) => el("td", {}, text)),
  );
}
