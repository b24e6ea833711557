/** One client who was entered twice: what joining the two records would change, joining them, parting them again. */
import { ask, look } from "../../commands.js";
import { el, setAttribute } from "../../dom.js";

/** @typedef {{pseudonym: string, name: string|null, also: string[]}} Known */

/** @param {import("../../store.js").Store} store @param {() => Promise<void>} changed */
export function sameClient(store, changed) {
  const kept = el("select", { id: "same-kept", onchange: () => void preview() });
  const other = el("select", { id: "same-other", onchange: () => void preview() });
  const said = el("ul", { class: "said", role: "status" });
  const act = el("button", { type: "submit", disabled: true }, "Join the two");
  const parts = el("ul", { class: "clients" });
  const form = el(
    "form",
    { onsubmit: join },
    el("p", { class: "field choice" }, el("label", { for: "same-kept" }, "Keep"), kept),
    el("p", { class: "field choice" }, el("label", { for: "same-other" }, "Is the same client"), other),
    said,
    act,
  );
  const node = el("details", { class: "same", hidden: true }, el("summary", {}, "One client entered twice?"), form, parts);
  let asked = 0;

  async function preview() {
    const mine = ++asked;
    setAttribute(act, "disabled", true);
    said.replaceChildren();
    if (!kept.value || !other.value) return;
    const found = await look(`/api/v1/clients/${kept.value}/joined/${other.value}`);
    if (mine !== asked) return;
    tell(found.said ?? [found.problem]);
    setAttribute(act, "disabled", !found.said);
  }
  async function join(/** @type {Event} */ event) {
    event.preventDefault();
    const done = await ask(store, "join", "POST", `/api/v1/clients/${kept.value}/joined`, { other: other.value });
    if (done) await after(done.said);
  }
  async function part(/** @type {string} */ pseudonym) {
    const done = await ask(store, "part", "DELETE", `/api/v1/clients/${pseudonym}/joined`, {});
    if (done) await after(done.said);
  }
  async function after(/** @type {string[]} */ sentences) {
    asked += 1;
    await changed();
    tell(sentences);
  }
  function tell(/** @type {string[]} */ sentences) {
    said.replaceChildren(...sentences.map((each) => el("li", {}, each)));
  }
  return {
    node,
    /** @param {Known[]} all */
    show(all) {
      asked += 1;
      setAttribute(node, "hidden", all.length < 2 && !all.some(({ also }) => also.length));
      for (const select of [kept, other]) select.replaceChildren(el("option", { value: "" }, "–"), ...all.map(asOption));
      setAttribute(act, "disabled", true);
      parts.replaceChildren(
        ...all.flatMap(({ pseudonym, also }) =>
          also.map((each) =>
            el("li", {}, el("button", { type: "button", onclick: () => void part(each) }, `Part ${each} again`), el("small", {}, `joined with ${pseudonym}`)),
          ),
        ),
      );
    },
  };
}

function asOption(/** @type {Known} */ { pseudonym, name }) {
  return el("option", { value: pseudonym }, `${name ?? "no name"} · ${pseudonym}`);
}
