/** Ties it together: the stream feeds the store, each animation frame draws the screen the address names. */
import { keepAwake, startCues } from "./cues.js";
import { DECIMAL_LOCALES, useLocale } from "./format.js";
import { mountFrame } from "./frame.js";
import { listenToKeys } from "./keys.js";
import { mount as bench } from "./screens/bench.js";
import { mount as checks } from "./screens/checks.js";
import { mount as client } from "./screens/client.js";
import { mount as decide } from "./screens/decide.js";
import { mount as followup } from "./screens/followup.js";
import { mount as plan } from "./screens/plan.js";
import { mount as prove } from "./screens/prove.js";
import { mount as repeats } from "./screens/repeats.js";
import { mount as rider } from "./screens/rider.js";
import { mount as run } from "./screens/run.js";
import { mount as shown } from "./screens/shown.js";
import { openStream } from "./socket.js";
import { loadSettings, saveSettings } from "./settings.js";
import { signIn } from "./sign_in.js";
import { createStore } from "./store.js";
import { decodeBlock, Trace } from "./trace.js";

/** 20 s at 1 kHz, and a little for the gliding edge. */
const SCANS_KEPT = 21_000;

/** @type {Record<string, (root: HTMLElement, store: import("./store.js").Store) => () => void>} */
const SCREENS = { client, plan, checks, run, decide, followup, repeats, bench, prove, rider, shown };

const byId = (/** @type {string} */ id) => /** @type {HTMLElement} */ (document.getElementById(id));
const role = await signIn(byId("screen"));
document.documentElement.dataset.role = role;
const store = createStore(new Trace(SCANS_KEPT));
store.dispatch({ type: "page/settings", ...loadSettings() });
const followDecimal = () => useLocale(DECIMAL_LOCALES[store.state.settings.decimal]);
followDecimal();
store.onChange((before, after) => before.settings !== after.settings && followDecimal());
store.onChange((before, after) => before.settings !== after.settings && saveSettings(after.settings));

mountFrame(byId("top"), byId("side"), store);
listenToKeys(store);
startCues(store);
keepAwake(store);

let takeAway = () => {};
function show() {
  takeAway();
  const asked = location.hash.slice(1) in SCREENS ? location.hash.slice(1) : "run";
  const name = role === "ride" ? "rider" : asked;
  document.documentElement.dataset.view = name;
  takeAway = SCREENS[name](byId("screen"), store);
  store.drawAll(performance.now()); // what is known stands in its fields before anybody can type over it
}
addEventListener("hashchange", () => {
  store.dispatch({ type: "page/screen" });
  show();
});
show();

const scheme = location.protocol === "https:" ? "wss" : "ws";
openStream(`${scheme}://${location.host}/api/v1/stream`, {
  onText: (message) => store.dispatch({ ...message, received_ms: performance.now() }),
  onBlock: (buffer) => {
    const block = decodeBlock(buffer);
    const received_ms = performance.now();
    store.trace.push(block);
    store.trace.pace(received_ms);
    store.dispatch({ type: "page/loads", received_ms });
  },
  onLink: (state, retry_ms, over) => store.dispatch({ type: "page/link", state, retry_ms, over }),
});

/**
 * While a pointer is down on what it may click, nothing is drawn, for a second at most: what closes up would move the
 * button from under it. Dragging and scrolling go on.
 */
const HELD_MS = 1000;
const CLICKED = "button, a, summary, label, input, select";
let pressed_ms = -Infinity;
addEventListener("pointerdown", ({ target }) => target instanceof Element && target.closest(CLICKED) && void (pressed_ms = performance.now()), true);
for (const ends of ["pointerup", "pointercancel"]) addEventListener(ends, () => void (pressed_ms = -Infinity), true);

function frame(/** @type {number} */ now_ms) {
  if (performance.now() - pressed_ms > HELD_MS) store.drawAll(now_ms);
  requestAnimationFrame(frame);
}
requestAnimationFrame(frame);
