/**
 * What the page does besides drawing: beeps, spoken cues, a screen that stays awake. All can be turned off.
 *
 * @typedef {import("./store.js").Store} Store
 * @typedef {import("./state.js").State} State
 */
import { instruction } from "./words.js";

/** Pitch in Hz of each short tone. */
const TONES = {
  asked: [587],
  recording: [880],
  done: [880, 1175],
  finished: [880, 1175, 1568],
  stop: [330, 262],
  alarm: [660, 660, 660],
};

/** An answer and the stream may overtake each other, and a state may come twice: the same cue is given once within this time. */
const ONCE_MS = 1000;

/**
 * Which cue a change of state deserves, if any.
 * @param {State} before
 * @param {State} after
 * @returns {keyof typeof TONES|null}
 */
export function cueFor(before, after) {
  const newest = after.notices.at(-1);
  if (newest && newest !== before.notices.at(-1) && newest.level === "alarm") return "alarm";
  const [was, is] = [before.sweep?.state, after.sweep?.state];
  if (was === is || was === undefined) return null;
  if (is === "averaging") return "recording";
  if (is === "moving") return was === "averaging" ? "done" : "asked";
  if (is === "finished") return "finished";
  return is === "stopped" ? "stop" : null;
}

/** The words spoken with a cue. @param {State} state @param {string} cue */
export function spoken(state, cue) {
  if (cue === "alarm") return state.notices.at(-1)?.text ?? "";
  const { lead, value, unit } = instruction(state);
  return cue === "recording"
    ? lead
    : [lead, value, unit.replace("mm", "millimetres").replace("BB", "bottom bracket")].filter(Boolean).join(" ");
}

/** @param {Store} store */
export function startCues(store) {
  /** @type {AudioContext|undefined} */
  let audio;
  let given = { words: "", at_ms: -Infinity };
  store.onChange((before, after) => {
    const cue = cueFor(before, after);
    // The rider's screen is near the fitter's: everything would be heard twice.
    if (!cue || document.documentElement.dataset.view === "rider") return;
    const [words, at_ms] = [spoken(after, cue), performance.now()];
    if (words === given.words && at_ms - given.at_ms < ONCE_MS) return;
    given = { words, at_ms };
    if (after.settings.beeps) play((audio ??= new AudioContext()), TONES[cue]);
    if (after.settings.speech && "speechSynthesis" in globalThis) {
      speechSynthesis.cancel();
      speechSynthesis.speak(Object.assign(new SpeechSynthesisUtterance(words), { lang: "en" }));
    }
  });
}

/** One cue's tones, now. @type {AudioContext|undefined} */
let own;
/** @param {keyof typeof TONES} cue */
export function beep(cue) {
  play((own ??= new AudioContext()), TONES[cue]);
}

function play(/** @type {AudioContext} */ audio, /** @type {number[]} */ tones) {
  void audio.resume();
  tones.forEach((hertz, i) => {
    const at = audio.currentTime + 0.18 * i;
    const gain = new GainNode(audio, { gain: 0 });
    const tone = new OscillatorNode(audio, { frequency: hertz });
    gain.gain.setTargetAtTime(0.25, at, 0.01);
    gain.gain.setTargetAtTime(0, at + 0.12, 0.02);
    tone.connect(gain).connect(audio.destination);
    tone.start(at);
    tone.stop(at + 0.3);
  });
}

/** Keeps the screen on while a sweep runs. Browsers allow it on loopback and https only. @param {Store} store */
export function keepAwake(store) {
  /** @type {WakeLockSentinel|null} */
  let lock = null;
  let asking = false;
  async function follow() {
    const { sweep, settings } = store.state;
    const wanted =
      settings.awake && (sweep?.accepts.includes("stop") ?? false) && document.visibilityState === "visible";
    if (asking || wanted === (lock !== null) || !("wakeLock" in navigator)) return;
    if (!wanted) {
      const old = lock;
      lock = null;
      await old?.release();
      return;
    }
    asking = true;
    try {
      lock = await navigator.wakeLock.request("screen");
      lock.addEventListener("release", () => (lock = null));
    } catch (error) {
      // A browser may refuse, for example on a low battery: the screen then dims as it would anyway.
      if (!(error instanceof DOMException)) throw error;
    } finally {
      asking = false;
    }
  }
  store.onChange((before, after) => {
    if (before.sweep?.state !== after.sweep?.state || before.settings !== after.settings) void follow();
  });
  document.addEventListener("visibilitychange", () => void follow());
}
