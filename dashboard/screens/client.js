/** Who is here: a client known or new, and the intake of today. */
import { ask, look } from "../commands.js";
import { changes, el, setAttribute, setText } from "../dom.js";
import { field, gather, scatter } from "../form.js";
import { nextButton } from "../next.js";
import { BICYCLE, EQUIPMENT, FEEL, POST, RIDER } from "./client/rows.js";
import { symptomTable } from "./client/symptoms.js";

/** @typedef {import("../store.js").Store} Store */

/** @param {HTMLElement} root @param {Store} store @returns {() => void} takes the screen away */
export function mount(root, store) {
  const who = whoIsHere(store);
  const form = intakeForm(store);
  root.replaceChildren(el("div", { class: "page" }, el("h1", {}, "Client"), who.node, form.node));
  who.refresh();
  return store.onFrame((state) => {
    who.draw(state);
    form.draw(state);
  });
}

function whoIsHere(/** @type {Store} */ store) {
  const list = el("ul", { class: "clients" });
  const name = field({ path: "name", words: "Name, kept apart from all records", kind: "text" }, "new");
  const consents = [
    field({ path: "service", words: "Agrees to the fitting and its records", kind: "check", required: true }, "new"),
    field({ path: "research", words: "Agrees to use in studies, under the pseudonym", kind: "check" }, "new"),
    field({ path: "images", words: "Agrees to pictures", kind: "check" }, "new"),
  ];
  const until = field({ path: "keep_until", words: "Records are kept until", kind: "date" }, "new");
  const fields = [name, ...consents, until];
  const agreed = agreementForm(store, () => refresh());
  const here = el("p", { class: "here", role: "status" });
  const add = el(
    "form",
    { class: "plate", onsubmit: create },
    el("h2", {}, "New client"),
    ...fields.map((each) => each.node),
    el("button", { type: "submit" }, "Begin with a new pseudonym"),
  );
  const choose = el(
    "details",
    { open: true },
    el("summary", {}, "Choose a client, or begin with a new one"),
    el("div", { class: "two" }, el("div", { class: "plate" }, el("h2", {}, "Known clients"), list), add),
  );
  const node = el("section", { "aria-label": "Who is here" }, here, agreed.node, choose);

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
    agreed.show(all.find(({ pseudonym }) => pseudonym === store.state.visit?.pseudonym) ?? null);
    scatter([until], { keep_until: (await look("/api/v1/visit")).keep_until });
  }
  const met = changes();
  return {
    node,
    refresh,
    draw: (/** @type {import("../state.js").State} */ { visit }) => {
      setText(here, visit ? `${visit.pseudonym} is here.` : "Nobody is here: a sweep now is a trial.");
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
  const form = el(
    "form",
    { class: "plate", "aria-label": "What was agreed", onsubmit: keep },
    ...fields.map((each) => each.node),
    el("p", { class: "note" }, "After this day the client is listed as due to be forgotten; nothing is removed by itself."),
    el("button", { type: "submit" }, "Keep what was agreed"),
    said,
  );
  const node = el("details", { hidden: true }, el("summary", {}, "What was agreed, and until when records are kept"), form);
  async function keep(/** @type {Event} */ event) {
    event.preventDefault();
    const body = gather(fields);
    body.keep_until ||= null;
    const known = await ask(store, "agreement", "PUT", `/api/v1/clients/${pseudonym}/agreement`, body);
    if (!known) return;
    setText(said, keptWords(body.research, known.exports));
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
      scatter(fields, { ...client.consents, keep_until: client.keep_until });
    },
  };
}

/** @param {boolean} research @param {string[]} exports */
function keptWords(research, exports) {
  if (research || !exports.length) return "Kept.";
  return `Kept. Already exported, to be removed by hand: ${exports.join(", ")}`;
}

function clientItem(/** @type {Store} */ store, /** @type {any} */ { pseudonym, name, visits, keep_until, overdue }) {
  const open = () => void ask(store, "visit", "POST", "/api/v1/visit", { pseudonym });
  return el(
    "li",
    {},
    el("button", { type: "button", onclick: open }, `${name ?? "no name"} · ${pseudonym}`),
    el("small", {}, visits === 1 ? "1 visit" : `${visits} visits`),
    overdue ? el("small", { class: "overdue" }, `was to be kept until ${keep_until}: ask the client, or forget`) : null,
  );
}

function intakeForm(/** @type {Store} */ store) {
  const groups = Object.entries({
    Rider: RIDER,
    "Saddle, bar, feet": EQUIPMENT,
    "How riding feels": FEEL,
    "Own bicycle, for its front-wheel share": BICYCLE,
    "Its post and rails, for whether the setback can be had": POST,
  }).map(([title, rows]) => ({ title, fields: rows.map((row) => field(row, "intake")) }));
  const fields = groups.flatMap((group) => group.fields);
  const symptoms = symptomTable();
  const flags = el("div", { class: "flags" });
  const advice = el("p", { class: "warning", role: "alert" });
  const last = el("p", { class: "here", role: "status" });
  const send = el("button", { type: "submit", class: "main" }, "Keep this intake");
  const next = nextButton("#client");
  const group = (/** @type {{title: string, fields: import("../form.js").Field[]}} */ { title, fields: own }) =>
    el("fieldset", { class: "plate" }, el("legend", {}, title), ...own.map((each) => each.node));
  const node = el(
    "form",
    { class: "intake", onsubmit: submit, "aria-label": "Intake" },
    last,
    el(
      "div",
      { class: "two" },
      el("div", {}, ...[0, 1, 3, 4].map((i) => group(groups[i]))),
      el(
        "div",
        {},
        el("fieldset", { class: "plate" }, el("legend", {}, "Ask every client: any of these?"), flags),
        el("div", { class: "plate" }, symptoms.node),
        group(groups[2]),
      ),
    ),
    advice,
    el("p", { class: "page-end" }, send, next.node),
  );
  /** @type {Record<string, HTMLInputElement>} */
  let boxes = {};
  void look("/api/v1/visit").then((/** @type {any} */ told) => {
    for (const [key, words] of Object.entries(told?.red_flags ?? {})) {
      const one = field({ path: key, words: /** @type {string} */ (words), kind: "check" }, "flag");
      boxes[key] = one.input;
      flags.append(one.node);
    }
    filled(null);
  });

  async function submit(/** @type {Event} */ event) {
    event.preventDefault();
    const intake = gather(fields);
    // Without a wheelbase there is no bicycle to compute with.
    if (intake.bicycle.wheelbase_mm === null) intake.bicycle = null;
    if (intake.post.rails_front_mm === null && intake.post.rails_rear_mm === null) intake.post = null;
    intake.symptoms = symptoms.read();
    intake.red_flags = Object.keys(boxes).filter((key) => boxes[key].checked);
    await ask(store, "intake", "PUT", "/api/v1/visit/intake", intake);
  }

  const filled = changes();
  function draw(/** @type {import("../state.js").State} */ state) {
    const { visit, sending } = state;
    next.draw(state);
    setAttribute(node, "hidden", !visit);
    if (!visit) return;
    if (filled(visit.id, Object.keys(boxes).length)) {
      scatter(fields, visit.intake ?? {});
      symptoms.write(visit.intake?.symptoms ?? []);
      for (const [key, box] of Object.entries(boxes)) box.checked = visit.intake?.red_flags.includes(key) ?? false;
    }
    setText(
      last,
      visit.returning ||
        (visit.intake ? "Kept. What you change here is kept when you press the button again." : "First visit."),
    );
    setText(advice, visit.advice);
    setAttribute(send, "disabled", sending !== null);
  }
  return { node, draw };
}
