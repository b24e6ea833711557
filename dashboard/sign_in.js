/**
 * Signs this browser in if the daemon listens on a network: the link it shows ends in #key=..., which is exchanged once
 * for a cookie that no script can read, and removed from the address. On the daemon's own machine no key is asked for.
 */
import { el } from "./dom.js";

const ACCESS = "/api/v1/access";

/**
 * This browser's role. Without one, says so on the page and never resolves: there is nothing else to show.
 * @param {HTMLElement} root
 * @returns {Promise<"run"|"ride">}
 */
export async function signIn(root) {
  const key = new URLSearchParams(location.hash.slice(1)).get("key");
  if (key !== null) history.replaceState(null, "", location.pathname);
  const answer = key === null ? null : await ask("POST", { token: key });
  const standing = answer?.ok ? answer.said : ((await ask("GET"))?.said ?? {});
  if (standing.role !== null) return standing.role ?? "run";
  const why = answer?.said?.detail ?? "open the link, or scan the code, that the daemon shows where it runs";
  root.replaceChildren(el("p", { class: "sign-in", role: "alert" }, `This screen has no access: ${why}.`));
  return new Promise(() => {});
}

/** What the daemon says; null if it cannot be reached, which the stream will report. */
async function ask(/** @type {string} */ method, /** @type {object|undefined} */ body = undefined) {
  try {
    const headers = { "content-type": "application/json" };
    const response = await fetch(ACCESS, { method, headers, body: body && JSON.stringify(body) });
    return { ok: response.ok, said: await response.json() };
  } catch {
    return null;
  }
}
