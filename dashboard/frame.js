/** What stands around every screen: the simulation banner, the head, the line of messages, keys and settings. */
import { el, setAttribute, setText } from "./dom.js";
import { kilograms } from "./format.js";
import { sourceFreshness } from "./fresh.js";
import { sidePanel } from "./side.js";
import { CAUTION } from "./words.js";

/** @typedef {import("./state.js").State} State @typedef {import("./store.js").Store} Store */

/** The screens in the order of the job. */
const SCREENS = /** @type {const} */ ([
  ["#client", "Client"],
  ["#plan", "Plan"],
  ["#checks", "Checks"],
  ["#run", "Run"],
  ["#decide", "Decide"],
  ["#followup", "Follow-up"],
  ["#bench", "Bench"],
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
  const links = SCREENS.map(([hash, words]) => el("a", { href: hash }, words));
  const nav = el(
    "nav",
    { "aria-label": "Screens" },
    ...links,
    el("a", { href: "#rider", target: "_blank", rel: "noopener" }, "Rider’s view"),
  );
  const status = el("p", { class: "message polite", role: "status" });
  const alert = el("p", { class: "message alert", role: "alert" });
  const seen = el(
    "button",
    { type: "button", class: "small", onclick: () => store.dispatch({ type: "page/seen" }) },
    "Seen",
  );
  top.replaceChildren(
    el("div", { class: "head" }, brand(), about, recording, calibration, chips, nav, open),
    el("div", { class: "messages" }, banner, alert, status, seen),
  );
  const drawSide = sidePanel(side, store);

  store.onFrame((state, now_ms) => {
    setAttribute(banner, "hidden", !state.simulated);
    const view = `#${document.documentElement.dataset.view}`;
    for (const link of links) setAttribute(link, "aria-current", link.getAttribute("href") === view ? "page" : null);
    setText(about, aboutWords(state));
    setAttribute(about, "title", aboutWords(state));
    const linked = state.link.state === "open";
    setText(recording, !linked ? "recording not known" : state.recording ? "recording" : "not recording");
    setAttribute(recording, "data-on", (linked && state.recording) || undefined);
    setText(calibration, state.calibration?.stale ? "calibration: no verdict" : "");
    setAttribute(calibration, "title", state.calibration?.stale ? (state.calibration.sentence ?? null) : null);
    setAttribute(calibration, "hidden", !state.calibration?.stale);
    drawChips(chips, state, now_ms);
    setAttribute(open, "aria-expanded", String(state.panel_shown));
    const line = messageLine(state, now_ms);
    setAttribute(seen, "hidden", !line.dismiss);
    setText(alert, line.level === "alarm" ? line.text : "");
    setText(status, line.level === "alarm" ? "" : line.text);
    setAttribute(status, "data-level", line.level);
    setAttribute(document.documentElement, "data-theme", state.settings.theme);
    drawSide(state);
  });
}

function brand() {
  return el("p", { class: "brand" }, el("img", { src: "icon.svg", alt: "", width: 22, height: 22 }), "Foreaft");
}

function aboutWords(/** @type {State} */ { rider, rig, sweep, visit }) {
  const name = rider && (visit ? rider.pseudonym : `trial, ${rider.pseudonym}`);
  const who = rider ? `${name}, ${kilograms(rider.mass_kg)}` : "";
  return [who, rig?.name, sweep?.protocol].filter(Boolean).join(" · ");
}

/** How long a notice stays on the line, ms; an alarm stays until someone has seen it. The panel keeps them all. */
const SHOWN_MS = { info: 10_000, caution: 60_000, alarm: Infinity };

/**
 * The one message that matters most now.
 * @param {State} state @param {number} now_ms
 * @returns {{level: string, text: string, dismiss?: boolean}}
 */
export function messageLine(state, now_ms) {
  if (state.link.state === "lost")
    return { level: "alarm", text: "Connection to the jig lost. These numbers are old. Trying again." };
  if (state.link.state === "opening") return { level: "info", text: "Connecting to the jig." };
  if (state.problem)
    return { level: state.problem.startsWith("STOP") ? "alarm" : "caution", text: state.problem, dismiss: true };
  const newest = state.notices.at(-1);
  const shown = newest && !state.seen && now_ms - (newest.received_ms ?? now_ms) < SHOWN_MS[newest.level];
  return shown ? { ...newest, dismiss: newest.level !== "info" } : { level: "info", text: CAUTION };
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
    setText(chip, `${source.name} ${[live ? "live" : words, lost].filter(Boolean).join(", ")}`);
    setAttribute(chip, "data-state", live ? "live" : source.state === "absent" ? "absent" : "stale");
    setAttribute(chip, "title", source.message || null);
  }
}
