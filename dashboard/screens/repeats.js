/** What was learned from everybody tested more than once: how far onsets scatter, and which repeats would teach more. */
import { look } from "../commands.js";
import { el } from "../dom.js";
import { counted, day as dayWords, MISSING, number, withMinus } from "../format.js";
import { wishFor } from "../wish.js";

/** The protocol of a repeat, as far as a plan has it. */
const REPEAT = { order: "shuffled", sham: true, repeat_first: true, blinded: true, label: "repeat", why: "A repeat: shuffled, with a sham move, the first position again, the rider blinded. Ride the range, power and gradient of the test before." };
const AS_BEFORE = "A repeat of their test: the same places, power and gradient, shuffled, with a sham move, the first position again, the rider blinded.";

/** @param {HTMLElement} root @param {import("../store.js").Store} _store @returns {() => void} takes the screen away */
export function mount(root, _store) {
  const body = el("div", {}, el("p", { class: "here" }, "Reading the records."));
  root.replaceChildren(el("div", { class: "page" }, el("h1", {}, "Repeats"), body));
  let shown = true;
  void look("/api/v1/panel").then((found) => {
    if (shown) body.replaceChildren(...(found?.panel ? taught(found.panel, found.who) : nothing(found)));
  });
  return () => (shown = false);
}

function nothing(/** @type {any} */ found) {
  const words = found ? "No sweep says anything about an onset yet. Ride one with a client; ride it again on another day." : "The records cannot be read now.";
  return [el("section", { class: "plate" }, el("p", {}, words), leftOut(found?.left_out ?? {}))];
}

function taught(/** @type {any} */ panel, /** @type {any[]} */ who) {
  return [
    el(
      "div",
      { class: "two" },
      el(
        "section",
        { class: "plate", "aria-label": "Spreads" },
        el("h2", {}, [counted(panel.riders, "rider"), counted(panel.days, "day"), counted(panel.sweeps, "sweep")].join(", ")),
        el("p", {}, panel.spreads_from),
        table(["Standard deviation", "mm", "95 %"], [
          ["between days", number(panel.day_sd_mm, 1), ends(panel.day_sd_95_mm)],
          ["between sweeps of a day", number(panel.sweep_sd_mm, 1), ends(panel.sweep_sd_95_mm)],
          ["placing one bend", number(panel.placing_sd_mm, 1), ""],
        ]),
        table(["Two tests of an unchanged rider differ by less, 19 times in 20", "mm"], [
          ["same day and jig (repeatability)", number(panel.repeatability_limit_mm, 1)],
          ["two days (intermediate precision)", number(panel.between_days_limit_mm, 1)],
        ]),
      ),
      el(
        "section",
        { class: "plate", "aria-label": "What to repeat" },
        el("h2", {}, "What would teach more"),
        el("p", {}, panel.next),
        who.length ? table(["Could come again", "tested on", "again"], who.map(({ client, day, wish }) => [client, dayWords(day), planOf(client, wish)])) : "",
        el("p", {}, el("button", { type: "button", onclick: () => wishFor({ ...REPEAT, seed: 1 + Math.floor(Math.random() * 99_998) }) }, "Plan a repeat")),
      ),
    ),
    el(
      "div",
      { class: "two" },
      el(
        "section",
        { class: "plate", "aria-label": "What moves an onset" },
        el("h2", {}, "What else moves an onset"),
        panel.effects.length ? table(["Per unit", "mm", "±"], panel.effects.map((/** @type {any} */ one) => [one.name, withMinus(number(one.mm, 1)), number(one.u_mm, 1)])) : el("p", {}, "Nobody was tested in two conditions yet."),
        apart("By rig", panel.by_rig),
        apart("By fitter", panel.by_fitter),
      ),
      el(
        "section",
        { class: "plate", "aria-label": "Verdicts" },
        el("h2", {}, "Verdicts and failed tests"),
        table(["Verdict", "sweeps"], Object.entries(panel.verdicts).map(([name, count]) => [name.replace("-", " "), String(count)])),
        table(["Test that failed", "sweeps"], Object.entries(panel.failed_tests).map(([name, count]) => [name, String(count)])),
        el("p", {}, slopes(panel.slopes_n_per_mm)),
        leftOut(panel.left_out),
      ),
    ),
  ];
}

/** The test of this client again, filled into the plan. */
function planOf(/** @type {string} */ client, /** @type {any} */ wish) {
  return wish ? el("button", { type: "button", "aria-label": `Plan the test of ${client} again`, onclick: () => wishFor({ ...REPEAT, ...wish, why: AS_BEFORE }) }, "Plan") : "";
}

function apart(/** @type {string} */ words, /** @type {Record<string, any>} */ groups) {
  const rows = Object.entries(groups).map(([name, one]) => [name, number(one.day_sd_mm, 1), number(one.sweep_sd_mm, 1)]);
  return rows.length ? table([words, "days, mm", "sweeps, mm"], rows) : "";
}

function slopes(/** @type {number[]|null} */ quartiles) {
  if (!quartiles) return "No onset was named yet, so no rise is known.";
  const [low, middle, high] = quartiles.map((one) => number(one, 2));
  const half = low === high ? "" : `; in half of the sweeps by ${low} to ${high}`;
  return `Forward of an onset hand load rose by ${middle} N/mm${half}.`;
}

function leftOut(/** @type {Record<string, string>} */ reasons) {
  const all = Object.entries(reasons);
  if (!all.length) return "";
  return el("details", {}, el("summary", {}, `${counted(all.length, "sweep")} ${all.length === 1 ? "says" : "say"} nothing here`), el("ul", {}, ...all.map(([sweep, why]) => el("li", {}, `Sweep ${sweep}: ${why}`))));
}

function table(/** @type {string[]} */ head, /** @type {(string|Node)[][]} */ rows) {
  if (!rows.length) return "";
  return el(
    "table",
    { class: "figures" },
    el("thead", {}, el("tr", {}, ...head.map((words) => el("th", { scope: "col" }, words)))),
    el("tbody", {}, ...rows.map(([name, ...cells]) => el("tr", {}, el("th", { scope: "row" }, name), ...cells.map((cell) => el("td", {}, cell || MISSING))))),
  );
}

function ends(/** @type {[number, number]} */ [low, high]) {
  return `${number(low, 1)} to ${number(high, 1)}`;
}
