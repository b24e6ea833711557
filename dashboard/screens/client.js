/** Who is here, and today's intake. */
import { el } from "../dom.js";
import { intakeForm } from "./client/intake.js";
import { whoIsHere } from "./client/known.js";

/** @param {HTMLElement} root @param {import("../store.js").Store} store @returns {() => void} takes the screen away */
export function mount(root, store) {
  const who = whoIsHere(store);
  const form = intakeForm(store);
  root.replaceChildren(el("div", { class: "page client" }, el("h1", { class: "unseen" }, "Client"), who.node, form.node));
  who.refresh();
  const off = store.onFrame((state) => {
    who.draw(state);
    form.draw(state);
  });
  return () => {
    off();
    form.leave();
  };
}
