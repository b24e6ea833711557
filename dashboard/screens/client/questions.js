/** The red-flag questions: each asked and answered separately, empty at first; a yes needs a typed reason to go on. */
import { chips } from "../../chips.js";
import { el, setAttribute, setText } from "../../dom.js";

const ANSWERS = /** @type {const} */ ([["yes", "yes"], ["no", "no"]]);

/** @param {() => void} changed called after every answer */
export function redFlags(changed) {
  /** @type {Record<string, ReturnType<typeof chips>>} */
  let rows = {};
  const list = el("div", { class: "questions" });
  const advice = el("p", { class: "warning", role: "alert" });
  const reason = el("textarea", { id: "flag-reason", rows: 2, maxlength: 2000, oninput: changed });
  const why = el("p", { class: "field long", hidden: true }, el("label", { for: "flag-reason" }, "Why the client rides anyway"), reason);
  const node = el(
    "section",
    { class: "plate ask", "aria-labelledby": "ask-title" },
    el("h2", { id: "ask-title" }, "Ask every client"),
    list,
    el("p", { class: "note" }, "After a yes, advise a clinician first. A fitting does not replace one."),
    advice,
    why,
  );
  const answered = (/** @type {string} */ answer) => Object.keys(rows).filter((key) => rows[key].get() === answer);
  const show = () => setAttribute(why, "hidden", answered("yes").length === 0);
  return {
    node,
    /** @param {Record<string, string>} questions key to words */
    ask(questions) {
      rows = Object.fromEntries(
        Object.entries(questions).map(([key, words]) => [key, chips(words.charAt(0).toUpperCase() + words.slice(1), ANSWERS, () => (show(), changed()))]),
      );
      list.replaceChildren(...Object.values(rows).map((row) => row.node));
    },
    read: () => ({ red_flags: answered("yes"), cleared: answered("no"), flag_reason: reason.value.trim() }),
    /** @param {any} intake */
    write(intake) {
      for (const [key, row] of Object.entries(rows))
        row.set(intake?.red_flags?.includes(key) ? "yes" : intake?.cleared?.includes(key) ? "no" : null);
      reason.value = intake?.flag_reason ?? "";
      show();
    },
    /** @param {string} text what the daemon advises */
    advise: (text) => setText(advice, text),
  };
}
