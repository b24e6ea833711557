/** The page's own settings, kept in this browser. */
import { DEFAULT_SETTINGS } from "./state.js";

const KEY = "foreaft.settings";

/** What was kept, defaults for the rest. @returns {import("./state.js").Settings} */
export function loadSettings() {
  try {
    return { ...DEFAULT_SETTINGS, ...JSON.parse(localStorage.getItem(KEY) ?? "{}") };
  } catch (error) {
    if (error instanceof SyntaxError || error instanceof DOMException) return DEFAULT_SETTINGS;
    throw error;
  }
}

/** @param {import("./state.js").Settings} settings */
export function saveSettings(settings) {
  try {
    localStorage.setItem(KEY, JSON.stringify(settings));
  } catch (error) {
    if (!(error instanceof DOMException)) throw error;
  }
}
