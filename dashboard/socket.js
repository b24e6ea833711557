/**
 * The page's end of /api/v1/stream: opens it, notices when it falls silent, reopens it.
 * The daemon sends a snapshot first on every connection, so reopening is all that recovery takes.
 *
 * @typedef {{onText: (message: any) => void, onBlock: (buffer: ArrayBuffer) => void,
 *   onLink: (state: "opening"|"open"|"lost", retry_ms: number) => void}} Listeners
 */

const FIRST_RETRY_MS = 250;
const LONGEST_RETRY_MS = 5000;
/** The daemon says something at least twice a second; this long a silence is a dead line. */
const SILENCE_MS = 5000;

/** Delay before attempt k (0, 1, 2, ...), ms: doubles up to a ceiling. @param {number} k */
export function retryDelay(k) {
  return Math.min(LONGEST_RETRY_MS, FIRST_RETRY_MS * 2 ** k);
}

/** @param {string} url @param {Listeners} listeners @returns {() => void} closes for good */
export function openStream(url, { onText, onBlock, onLink }) {
  let failures = 0;
  let closed = false;
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
    onLink("lost", delay_ms);
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
        onLink("open", 0);
      }
      onText(message);
    };
    mine.onclose = () => lost(mine);
    heard();
  }

  function hurry() {
    if (retry !== undefined && !closed) open();
  }

  addEventListener("online", hurry);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && hurry());
  onLink("opening", 0);
  open();
  return () => {
    closed = true;
    clearTimeout(retry);
    clearTimeout(silence);
    socket.close();
  };
}
