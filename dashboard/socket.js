/**
 * The page's end of /api/v1/stream: opens it, notices when it falls silent, reopens it.
 * The daemon sends a snapshot first on every connection, so reopening is all that recovery takes.
 *
 * @typedef {{onText: (message: any) => void, onBlock: (buffer: ArrayBuffer) => void,
 *   onLink: (state: "opening"|"open"|"lost", retry_ms: number, over: boolean) => void}} Listeners
 *   over: the daemon said that it ends
 */

const FIRST_RETRY_MS = 250;
const LONGEST_RETRY_MS = 5000;
/** The daemon says something at least twice a second; this long a silence is a dead line. */
const SILENCE_MS = 5000;
/** The reason of a stream that the daemon closes because it ends itself. */
const OVER = "over";

/** Delay before attempt k (0, 1, 2, ...), ms: doubles up to a ceiling. @param {number} k */
export function retryDelay(k) {
  return Math.min(LONGEST_RETRY_MS, FIRST_RETRY_MS * 2 ** k);
}

/** @param {string} url @param {Listeners} listeners @returns {() => void} closes for good */
export function openStream(url, { onText, onBlock, onLink }) {
  let failures = 0;
  let closed = false;
  let over = false;
  /** @type {WebSocket} */
  let socket;
  /** @type {ReturnType<typeof setTimeout>} */
  let silence;
  /** @type {ReturnType<typeof setTimeout>|undefined} */
  let retry;

  function heard() {
    clearTimeout(silence);
    silence = setTimeout(() => lost(socket), SILENCE_MS);
  }

  function lost(/** @type {WebSocket} */ which) {
    if (closed || which !== socket || retry !== undefined) return;
    clearTimeout(silence);
    socket.close();
    const delay_ms = retryDelay(failures++);
    onLink("lost", delay_ms, over);
    retry = setTimeout(open, delay_ms);
  }

  function open() {
    clearTimeout(retry);
    retry = undefined;
    const mine = new WebSocket(url);
    socket = mine;
    mine.binaryType = "arraybuffer";
    mine.onmessage = ({ data }) => {
      if (mine !== socket) return;
      heard();
      if (typeof data !== "string") return onBlock(data);
      const message = JSON.parse(data);
      if (message.type === "snapshot") {
        failures = 0;
        over = false;
        onLink("open", 0, over);
      }
      onText(message);
    };
    mine.onclose = ({ reason }) => {
      over ||= mine === socket && reason === OVER;
      lost(mine);
    };
    heard();
  }

  function hurry() {
    if (retry !== undefined && !closed) open();
  }

  addEventListener("online", hurry);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && hurry());
  onLink("opening", 0, over);
  open();
  return () => {
    closed = true;
    clearTimeout(retry);
    clearTimeout(silence);
    socket.close();
  };
}
