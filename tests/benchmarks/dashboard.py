"""Frames the dashboard draws on a full stream against an empty page: `python -m tests.benchmarks.dashboard`.

Exit code 1 when a goal is missed. The stream is 8 cells at 1 kHz in 20 messages a second, as the daemon sends it, both
strips moving, at the largest screen of the job. What counts is the ratio of animation frames, and the share of one
core that the page's own scripts take; the browser draws without a graphics card here, so a real desk has more room.
"""

import json
import struct
import sys
import time
from pathlib import Path

from playwright.sync_api import CDPSession, Page, WebSocketRoute, sync_playwright

from tests.browser.desk import CHROMIUM_ARGS, serve_dashboard
from tests.chromium import chromium_path

SECONDS = 8
SCANS, SERIES, EVERY_S = 50, 3 + 8, 0.05
LEAST_FRAMES = 0.95
MOST_OF_A_CORE = 0.25
COUNT = """() => {
  window.frames_ = 0;
  const frame = () => { window.frames_ += 1; requestAnimationFrame(frame); };
  requestAnimationFrame(frame);
}"""


def block(k: int) -> bytes:
    """The k-th message: a sawtooth at the hands, another at the saddle."""
    rows = [[60.0 + series * 40 + (17 * (k * SCANS + i)) % 40 for i in range(SCANS)] for series in range(SERIES)]
    times_s = [EVERY_S / SCANS * i for i in range(SCANS)]
    values = [value for row in rows for value in row]
    return struct.pack(f"<BBHd{SCANS * (1 + SERIES)}f", 1, SERIES, SCANS, EVERY_S * k, *times_s, *values)


def script_s(session: CDPSession) -> float:
    """Seconds the page's scripts have run."""
    metrics = {each["name"]: each["value"] for each in session.send("Performance.getMetrics")["metrics"]}
    return float(metrics["ScriptDuration"])


def frames_while(page: Page, streams: list[WebSocketRoute], blocks: list[bytes]) -> tuple[float, float]:
    """Frames a second and the scripts' share of a core while the blocks are sent in time."""
    session = page.context.new_cdp_session(page)
    session.send("Performance.enable")
    page.evaluate(COUNT)
    before_s, start = script_s(session), time.monotonic()
    for k, each in enumerate(blocks):
        for stream in streams:
            stream.send(each)
        page.wait_for_timeout(max(0.0, 1000 * (start + EVERY_S * (k + 1) - time.monotonic())))
    passed_s = time.monotonic() - start
    frames: int = page.evaluate("window.frames_")
    return frames / passed_s, (script_s(session) - before_s) / passed_s


def main() -> int:
    """Measure, tell, judge."""
    blocks = [block(k) for k in range(round(SECONDS / EVERY_S))]
    snapshot = next(m for m in json.loads(Path("tests/live/messages.json").read_text()) if m["type"] == "snapshot")
    with serve_dashboard() as address, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=CHROMIUM_ARGS)
        page = browser.new_page(viewport={"width": 1920, "height": 1080})
        page.goto("about:blank")
        empty_hz, _ = frames_while(page, [], blocks)
        streams: list[WebSocketRoute] = []

        def join(stream: WebSocketRoute) -> None:
            streams.append(stream)
            stream.send(json.dumps(snapshot))

        page.route_web_socket("**/api/v1/stream", join)
        page.goto(address)
        page.wait_for_selector(".run")
        full_hz, share = frames_while(page, streams, blocks)
        browser.close()
    ratio = full_hz / empty_hz
    print(f"frames on a full stream over frames of an empty page: {ratio:.3f} (goal: at least {LEAST_FRAMES})")
    print(f"scripts' share of one core: {share:.3f} (goal: at most {MOST_OF_A_CORE})")
    return 0 if ratio >= LEAST_FRAMES and share <= MOST_OF_A_CORE else 1


if __name__ == "__main__":
    sys.exit(main())
