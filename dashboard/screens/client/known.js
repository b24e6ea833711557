/** Who is on the jig: known clients, a new one, and what was agreed. */
import { barred, jigTaken } from "../../barred.js";
import { ask, look } from "../../commands.js";
import { changes, el, setAttribute, setText } from "../../dom.js";
import { field, gather, scatter } from "../../form.js";
import { counted, day } from "../../format.js";
import { sameClient } from "./same.js";

/** @typedef {import("../../store.js").Store} Store */

/** @param {Store} store */
export function whoIsHere(store) {
  const list = el("ul", { class: "clients" });
  const none = el("p", { class: "here", hidden: true }, "Nobody yet.");
  const name = field({ path: "name", words: "Name, kept apart from all records", kind: "text" }, "new");
  const consents = [
    field({ path: "service", words: "Agrees to the fitting and its records", kind: "check", required: true }, "new"),
    field({ path: "research", words: "Agrees to use in studies, under the pseudonym", kind: "check" }, "new"),
    field({ path: "images", words: "Agrees to pictures", kind: "check" }, "new"),
  ];
  const until = field({ path: "keep_until", words: "Records are kept until", kind: "date" }, "new");
  const fields = [name, ...consents, until];
  const agreed = agreementForm(store, () => refresh());
  const same = sameClient(store, () => refresh());
  const here = el("p", { class: "here", role: "status" });
  const begin = el("button", { type: "submit", class: "main" }, "Begin the visit");
  const bar = barred(begin);
  const add = el(
    "form",
    { class: "plate", onsubmit: create },
    el("h2", {}, "New client"),
    name.node,
    consents[0].node,
    el("details", {}, el("summary", {}, "Studies, pictures, how long records are kept"), consents[1].node, consents[2].node, until.node),
    begin,
    bar.node,
  );
  const summary = el("summary", {}, "Choose a client, or begin with a new one");
  const choose = el(
    "details",
    { open: true },
    summary,
    el("div", { class: "two" }, add, el("div", { class: "plate" }, el("h2", {}, "Known clients"), none, list, same.node)),
  );
  const node = el("section", { class: "who-is-here", "aria-label": "Who is here" }, here, choose, agreed.node);

  async function create(/** @type {Event} */ event) {
    event.preventDefault();
    const body = gather(fields);
    body.keep_until ||= null;
    if (!(await ask(store, "client", "POST", "/api/v1/clients", body))) return;
    scatter(fields, {});
    await refresh();
  }
  async function refresh() {
    const known = await look("/api/v1/clients");
    const all = Array.isArray(known) ? known : [];
    list.replaceChildren(...all.map((/** @type {any} */ each) => clientItem(store, each)));
    same.show(all);
    setAttribute(none, "hidden", all.length > 0);
    agreed.show(all.find(({ pseudonym }) => pseudonym === store.state.visit?.pseudonym) ?? null);
    scatter([until], { keep_until: (await look("/api/v1/visit")).keep_until });
  }
  const met = changes();
  return {
    node,
    refresh,
    draw: (/** @type {import("../../state.js").State} */ state) => {
      const { visit } = state;
      const why = jigTaken(state, ["sweep"]);
      bar.draw(why, state.sending !== null);
      for (const node of [list, same.node]) setAttribute(node, "inert", why !== null);
      setAttribute(list, "data-barred", why !== null || null);
      setText(summary, visit ? "Another client" : "Choose a client, or begin with a new one");
      setText(here, visit ? `All records of this visit stand under ${visit.pseudonym}.` : "No client is chosen: a sweep now is a trial.");
      if (!met(visit?.pseudonym)) return;
      choose.open = !visit;
      if (visit) void refresh();
    },
  };
}

/** What the client who is here has agreed to, and until when the records are kept. */
function agreementForm(/** @type {Store} */ store, /** @type {() => void} */ kept) {
  const fields = [
    field({ path: "service", words: "Agreed to the fitting and its records", kind: "check" }, "agreed"),
    field({ path: "research", words: "Agreed to use in studies, under the pseudonym", kind: "check" }, "agreed"),
    field({ path: "images", words: "Agreed to pictures", kind: "check" }, "agreed"),
    field({ path: "keep_until", words: "This client’s records are kept until", kind: "date" }, "agreed"),
  ];
  let pseudonym = "";
  const said = el("p", { class: "here", role: "status" });
  const all = el("a", { target: "_blank", rel: "noopener" }, "Everything kept about them, to print and hand over");
  const form = el(
    "form",
    { class: "plate", "aria-label": "What was agreed", onsubmit: keep },
    ...fields.map((each) => each.node),
    el("p", { class: "note" }, "After this day the client is listed as due to be forgotten; nothing is deleted automatically."),
    el("p", { class: "page-end" }, el("button", { type: "submit" }, "Keep what was agreed"), all),
    said,
  );
  const node = el("details", { hidden: true }, el("summary", {}, "What was agreed, and until when records are kept"), form);
  async function keep(/** @type {Event} */ event) {
    event.preventDefault();
    const body = gather(fields);
    body.keep_until ||= null;
    const known = await ask(store, "agreement", "PUT", `/api/v1/clients/${pseudonym}/agreement`, body);
    if (!known) return;
    setText(said, keptWords(body.research, known.exports, known.unread ?? []));
    kept();
  }
  return {
    node,
    /** @param {any} client */
    show(client) {
      setAttribute(node, "hidden", !client);
      if (!client) return;
      if (client.pseudonym !== pseudonym) setText(said, "");
      pseudonym = client.pseudonym;
      setAttribute(all, "href", `/api/v1/clients/${pseudonym}/hand-over`);
      scatter(fields, { ...client.consents, keep_until: client.keep_until });
    },
  };
}

/** @param {boolean} research @param {string[]} exports @param {string[]} unread */
function keptWords(research, exports, unread) {
  if (research) return "Kept.";
  const made = exports.length ? [`Already exported, to be deleted by hand: ${exports.join(", ")}`] : [];
  const unknown = unread.length ? [`Nothing is known of exports made from backups that are gone or cannot be read: ${unread.join(", ")}`] : [];
  return ["Kept.", ...made, ...unknown].join(" ");
}

function clientItem(/** @type {Store} */ store, /** @type {any} */ { pseudonym, name, visits, also, keep_until, overdue }) {
  const open = () => void ask(store, "visit", "POST", "/api/v1/visit", { pseudonym });
  return el(
    "li",
    {},
    el("button", { type: "button", onclick: open }, `${name ?? "no name"} · ${pseudonym}`),
    el("small", {}, [counted(visits, "visit"), ...also.map((/** @type {string} */ each) => `also ${each}`)].join(" · ")),
    overdue ? el("small", { class: "overdue" }, `records due for deletion since ${day(keep_until)}: ask the client, or forget`) : null,
  );
}
