/** What another screen wants planned: it fills the plan once and leaves it to the fitter to set. Gone with the window. */
const KEY = "foreaft-plan-wish";

/** @typedef {{why: string, dwell_times?: number, [path: string]: any}} Wish rows of the plan by their paths */

/** @param {Wish} wish */
export function wishFor(wish) {
  sessionStorage.setItem(KEY, JSON.stringify(wish));
  location.hash = "#plan";
}

/** @returns {Wish|null} what was wished for since it was last asked */
export function takeWish() {
  const wish = JSON.parse(sessionStorage.getItem(KEY) ?? "null");
  sessionStorage.removeItem(KEY);
  return wish;
}
