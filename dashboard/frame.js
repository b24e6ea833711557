/** The frame around every screen: the simulation banner, the head, the line of messages, keys and settings. */
import { PLACES } from "./barred.js";
import { el, setAttribute, setText } from "./dom.js";
import { kilograms } from "./format.js";
import { glance } from "./glance.js";
import { sourceFreshness } from "./fresh.js";
import { sidePanel } from "./side.js";
import { inTradeWords } from "./trade_words.js";
import { visitLine } from "./visit_line.js";
import { whoIsHere } from "./who.js";
import { CAUTION } from "./words.js";

/** @typedef {import("./state.js").State} State @typedef {import("./store.js").Store} Store */

/** What stands beside the visit. */
const BESIDE = /** @type {const} */ ([
  ["#followup", "Follow-up"],
  ["#repeats", "Repeats"],
  ["#bench", "Bench"],
  ["#prove", "Proof"],
]);
const WINDOWS = /** @type {const} */ ([
  ["#rider", "Rider’s screen"],
  ["#shown", "Client’s screen"],
]);

/** @param {HTMLElement} top @param {HTMLElement} side @param {Store} store */
export function mountFrame(top, side, store) {
  const banner = el("p", { class: "banner" }, el("strong", {}, "SIMULATED"), " rider and jig are a model");
  const about = el("p", { class: "about" });
  const recording = el("span", { class: "recording" });
  const calibration = el("span", { class: "chip", "data-state": "stale" });
  const chips = el("ul", { class: "chips", "aria-label": "Sensors" });
  const open = el(
    "button",
    { type: "button", class: "small", "aria-controls": "side", onclick: () => store.dispatch({ type: "page/panel" }) },
    "Keys, settings",
  );
  const line = visitLine();
  const who = whoIsHere();
  const links = BESIDE.map(([hash, words]) => el("a", { href: hash }, words));
  const windows = WINDOWS.map(([hash, words]) => el("a", { href: hash, target: "_blank", rel: "noopener" }, words));
  const more = el("details", { class: "more" }, el("summary", {}, "More"), el("nav", { "aria-label": "Beside the visit" }, ...links, ...windows, open));
  addEventListener("hashchange", () => (more.open = false));
  addEventListener("click", ({ target }) => (more.open &&= target instanceof Node && more.contains(target) && !(target instanceof HTMLAnchorElement)));
  const status = el("p", { class: "message polite", role: "status" });
  const alert = el("p", { class: "message alert", role: "alert" });
  const there = el("a", { class: "there" });
  const seen = el(
    "button",
    { type: "button", class: "small", onclick: () => store.dispatch({ type: "page/seen" }) },
    "Seen",
  );
  top.replaceChildren(
    el(
      "div",
      { class: "head" },
      el("div", { class: "who" }, brand(), who.node, about),
      line.node,
      el("div", { class: "beside" }, recording, calibration, chips, more),
    ),
    el("div", { class: "messages" }, banner, alert, status, there, seen),
  );
  const drawSide = sidePanel(side, store);

  store.onFrame((state, now_ms) => {
    setAttribute(banner, "hidden", !state.simulated);
    line.draw(state);
    who.draw(state);
    const view = `#${document.documentElement.dataset.view}`;
    for (const link of links) setAttribute(link, "aria-current", link.getAttribute("href") === view ? "page" : null);
    setText(about, aboutWords(state));
    setAttribute(about, "title", aboutWords(state));
    const linked = state.link.state === "open";
    const records = linked && state.recording && glance(state, now_ms).kind === "record";
    setText(recording, !linked ? "not linked" : !state.recording ? "nothing is stored" : records ? "recording" : "");
    setAttribute(recording, "hidden", recording.textContent === "");
    setAttribute(recording, "data-on", records || undefined);
    setText(calibration, state.calibration?.stale ? "calibration: no verdict" : "");
    setAttribute(calibration, "title", state.calibration?.stale ? (state.calibration.sentence ?? null) : null);
    setAttribute(calibration, "hidden", !state.calibration?.stale);
    drawChips(chips, state, now_ms);
    setAttribute(open, "aria-expanded", String(state.panel_shown));
    const told = messageLine(state, now_ms);
    const place = told.dismiss && told.see ? PLACES[told.see] : null;
    setAttribute(there, "hidden", !place || place.to === view);
    setAttribute(there, "href", place?.to);
    setText(there, place ? `To ${place.words}` : "");
    setAttribute(seen, "hidden", !told.dismiss);
    setText(alert, told.level === "alarm" ? told.text : "");
    setText(status, told.level === "alarm" ? "" : told.text);
    setAttribute(status, "data-level", told.level);
    setAttribute(document.documentElement, "data-theme", state.settings.theme);
    drawSide(state);
  });
}

function brand() {
  return el("img", { class: "brand", src: "icon.svg", alt: "Foreaft", width: 22, height: 22 });
}

function aboutWords(/** @type {State} */ { rider, sweep }) {
  return [rider?.mass_kg && kilograms(rider.mass_kg), sweep?.protocol].filter(Boolean).join(" · ");
}

/** How long a notice stays on the line, ms; an alarm stays until it is dismissed. The panel keeps them all. */
const SHOWN_MS = { info: 10_000, caution: 60_000, alarm: Infinity };

const GRAVITY = ["info", "caution", "alarm"];

/** The gravest notice that is still on the line, the newest of these. @param {State} state @param {number} now_ms */
function onTheLine({ notices }, now_ms) {
  const shown = notices.filter(({ level, seen, received_ms }) => !seen && now_ms - (received_ms ?? now_ms) < SHOWN_MS[level]);
  return shown.sort((a, b) => GRAVITY.indexOf(a.level) - GRAVITY.indexOf(b.level)).at(-1);
}

/**
 * The one message that matters most now.
 * @param {State} state @param {number} now_ms
 * @returns {{level: string, text: string, see?: string|null, dismiss?: boolean}}
 */
export function messageLine(state, now_ms) {
  if (state.unstopped) return { level: "alarm", text: state.unstopped, dismiss: true };
  if (state.link.state === "lost" && state.link.over && !state.sweep?.accepts.includes("stop"))
    return { level: "info", text: `Foreaft has ended at the jig’s computer. ${state.simulated ? "After a practice, the terminal there tells how it went." : "What it kept is on the disk."}` };
  if (state.link.state === "lost")
    return { level: "alarm", text: "Connection to the jig lost. These numbers are old. Trying again." };
  if (state.link.state === "opening") return { level: "info", text: "Connecting to the jig." };
  const notice = onTheLine(state, now_ms);
  if (state.problem && notice?.level !== "alarm") return { level: "caution", text: state.problem, see: state.problem_see, dismiss: true };
  return notice ? { ...notice, text: inTradeWords(notice.text), dismiss: notice.level !== "info" } : { level: "info", text: CAUTION };
}

function drawChips(/** @type {HTMLElement} */ list, /** @type {State} */ state, /** @type {number} */ now_ms) {
  while (list.children.length > state.sources.length) list.lastElementChild?.remove();
  while (list.children.length < state.sources.length) list.append(el("li", { class: "chip" }));
  for (const [i, source] of state.sources.entries()) {
    const { live, words } = sourceFreshness(state, source, now_ms);
    const lost = [source.dropped && `${source.dropped} dropped`, source.damaged && `${source.damaged} damaged`]
      .filter(Boolean)
      .join(", ");
    const chip = list.children[i];
    setText(chip, `${source.name} ${live ? "live" : words}`);
    setAttribute(chip, "data-state", live ? "live" : source.state === "absent" ? "absent" : "stale");
    setAttribute(chip, "title", [source.message, lost && `scans ${lost}`].filter(Boolean).join("; ") || null);
  }
}
