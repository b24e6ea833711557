/** Weeks later: who is due, the same questions again, and what came of it. */
import { ask, look } from "../commands.js";
import { el, setText } from "../dom.js";
import { field, gather } from "../form.js";
import { day, millimetres } from "../format.js";
import { FEEL } from "./client/rows.js";
import { complaints } from "./client/complaints.js";

/** @type {import("../form.js").Row[]} */
const ANSWER = [
  { path: "outcome", words: "Overall", kind: "choice", options: ["better", "same", "worse"], required: true, asked: true },
  { path: "hours", words: "Hours ridden since", kind: "number", unit: "h", least: 0, most: 1000 },
  { path: "note", words: "Note", kind: "text" },
];

/** @param {HTMLElement} root @param {import("../store.js").Store} store @returns {() => void} takes the screen away */
export function mount(root, store) {
  const list = el("ol", { class: "due" });
  const nobody = el("p", { class: "here" });
  const form = el("div", { class: "asking rows" });
  root.replaceChildren(
    el(
      "div",
      { class: "page" },
      el("h1", {}, "Follow-up"),
      el("section", { class: "plate", "aria-label": "Due for follow-up" }, nobody, list),
      form,
    ),
  );

  async function refresh() {
    const found = await look("/api/v1/follow-ups");
    const all = Array.isArray(found) ? found : [];
    setText(nobody, all.length ? "" : "Nobody yet: a decision brings the client here.");
    list.replaceChildren(...all.map((each) => dueItem(each, () => open(each))));
  }
  function open(/** @type {any} */ each) {
    form.replaceChildren(
      questions(each, async (answer) => {
        if (!(await ask(store, "follow-up", "PUT", `/api/v1/visits/${each.visit_id}/follow-up`, answer))) return;
        form.replaceChildren();
        await refresh();
      }),
    );
    /** @type {HTMLElement|null} */ (form.querySelector("select"))?.focus();
  }
  void refresh();
  return () => {};
}

function dueItem(/** @type {any} */ each, /** @type {() => void} */ open) {
  const came = each.outcome ? `Answered: ${each.outcome}` : each.is_due ? `Due since ${day(each.due_on)}` : `Due on ${day(each.due_on)}`;
  return el(
    "li",
    {},
    el("h2", {}, `${each.name ?? "no name"} · ${each.pseudonym}`),
    el("p", {}, el("span", { class: each.is_due && "overdue" }, came), `. Setback decided ${millimetres(each.setback_mm)} on ${day(each.begun_utc.slice(0, 10))}.`),
    el("p", {}, each.changes.length ? `Score then to now: ${each.changes.join("; ")}` : complained(each.symptoms)),
    el("button", { type: "button", onclick: open }, each.outcome ? "Ask again" : "Ask now"),
  );
}

function complained(/** @type {any[]} */ symptoms) {
  if (!symptoms.length) return "No complaint at the visit.";
  return `At the visit: ${symptoms.map(({ place, side, score }) => `${place}, ${side} ${score}`).join("; ")}`;
}

function questions(/** @type {any} */ each, /** @type {(answer: any) => void} */ keep) {
  const fields = [...ANSWER, ...FEEL].map((row) => field(row, "follow-up"));
  const symptoms = complaints(() => {});
  return el(
    "form",
    {
      "aria-label": `Questions for ${each.pseudonym}`,
      onsubmit: (/** @type {Event} */ event) => {
        event.preventDefault();
        keep({ ...gather(fields), symptoms: symptoms.read() });
      },
    },
    el(
      "div",
      { class: "two" },
      el("div", { class: "plate" }, el("h2", {}, each.pseudonym), ...fields.map(({ node }) => node)),
      el("div", { class: "plate" }, el("h2", {}, "Where does it hurt or go numb now?"), symptoms.node),
    ),
    el("p", { class: "page-end" }, el("button", { type: "submit", class: "main" }, "Save these answers")),
  );
}
