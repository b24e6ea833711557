/** The proofs kept, newest first: one that was left goes on, one that is finished has its certificate. */
import { look } from "../../commands.js";
import { el, setText } from "../../dom.js";

/** @param {(path: string, body: object) => Promise<boolean>} act */
export function keptProofs(act) {
  const list = el("ul", { class: "calibrations" });
  const problem = el("p", { class: "here" });

  async function read() {
    const found = await look("/api/v1/proofs");
    setText(problem, found?.problem ?? (found?.length ? "" : "None yet."));
    list.replaceChildren(...(Array.isArray(found) ? found.map(one) : []));
  }
  function one(/** @type {any} */ kept) {
    const finished = kept.done >= kept.of;
    const name = `${kept.begun_utc.slice(0, 16).replace("T", " ")} UTC, ${kept.made_by}`;
    return el(
      "li",
      {},
      el("strong", {}, name, kept.simulated ? " (simulated)" : ""),
      el("span", {}, finished ? "finished" : `left at ${kept.done} of ${kept.of}`),
      finished
        ? el("a", { href: `/api/v1/proofs/${encodeURIComponent(kept.name)}/certificate`, target: "_blank", rel: "noopener" }, "Certificate")
        : el("button", { type: "button", class: "small", onclick: () => void act("/api/v1/proof/resume", { name: kept.name }) }, "Go on"),
    );
  }
  return { node: el("section", { class: "plate", "aria-label": "Proofs kept" }, el("h2", {}, "Proofs kept"), problem, list), read: () => void read() };
}
