"""The dashboard in the system's Chromium: its modules one by one, and the page on a stream that the test writes."""

from __future__ import annotations

import contextlib
import functools
import http.server
import json
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Page, Route, WebSocketRoute, sync_playwright

from tests.browser.day import Jig
from tests.chromium import chromium_path
from tests.live.examples import EXAMPLES

ROOT = Path(__file__).parents[2]
DASHBOARD = ROOT / "dashboard"
CHROMIUM_ARGS = [
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
]


POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
"""As strict as a page of local files can be: no inline script or style, nothing from elsewhere."""


class _Strict(http.server.SimpleHTTPRequestHandler):
    def end_headers(self) -> None:
        self.send_header("Content-Security-Policy", POLICY)
        super().end_headers()

    def log_message(self, *_: object) -> None:
        pass


@contextlib.contextmanager
def serve_dashboard() -> Iterator[str]:
    """Serves dashboard/ on a free port of the loopback; gives its address."""
    handler = functools.partial(_Strict, directory=str(DASHBOARD))
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_address[1]}"
        server.shutdown()


@pytest.fixture(scope="package")
def address() -> Iterator[str]:
    """Where the dashboard is served."""
    with serve_dashboard() as served:
        yield served


@pytest.fixture(scope="package")
def chromium() -> Iterator[Browser]:
    """Chromium without a window. Closed after this folder: its driver leaves an event loop running."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=CHROMIUM_ARGS)
        yield browser
        browser.close()


@pytest.fixture(scope="package")
def messages() -> dict[str, dict[str, Any]]:
    """The saved examples of every text message, by type."""
    return EXAMPLES


@pytest.fixture(scope="package")
def js(chromium: Browser, address: str) -> Iterator[Callable[..., Any]]:
    """js(module, expression, argument): the value of an expression in which `m` is the module and `a` the argument."""
    page = chromium.new_page()
    page.goto(f"{address}/icon.svg")

    def value(module: str, expression: str, argument: Any = None) -> Any:
        code = f"async (a) => {{ const m = await import('/{module}'); return {expression}; }}"
        return page.evaluate(code, argument)

    yield value
    page.close()


class Desk:
    """The page open on a stream the test writes; `asked` is what the page has sent to the daemon."""

    def __init__(self, chromium: Browser, address: str, **context: Any) -> None:
        self.asked: list[tuple[str, Any]] = []
        self.faults: list[str] = []
        self.connections: list[WebSocketRoute] = []
        self.refusal: dict[str, str] | None = None
        self.answers: dict[str, Any] = {}
        """What a path answers; an empty object where nothing is named."""
        self.context = chromium.new_context(**{"viewport": {"width": 1280, "height": 800}, **context})
        self.page: Page = self.context.new_page()
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.on("console", self._hear)
        self.page.route_web_socket("**/api/v1/stream", self._join)
        self.page.route("**/api/v1/**", self._answer)
        self.page.route("**/api/v1/access", lambda route: route.fulfill(json={"role": "run", "until_utc": None}))
        self._address = address

    def open(self, snapshot: dict[str, Any], screen: str = "run") -> Desk:
        self.page.goto(f"{self._address}/#{screen}")
        self.page.wait_for_selector("#screen h1", state="attached")
        self.wait(lambda: self.connections)
        self.send(snapshot)
        return self

    def send(self, *sent: dict[str, Any] | bytes) -> None:
        """Messages of the daemon, then time for the page to draw them."""
        for message in sent:
            self.connections[-1].send(message if isinstance(message, bytes) else json.dumps(message))
        self.page.evaluate("() => new Promise((done) => setTimeout(() => requestAnimationFrame(done), 60))")

    def slow(self, by_ms: int) -> None:
        """From now on every answer reaches the page this much later."""
        self.page.evaluate(
            """(by_ms) => {
              const ask = window.fetch;
              window.fetch = async (...words) => {
                const answer = await ask(...words);
                await new Promise((later) => setTimeout(later, by_ms));
                return answer;
              };
            }""",
            by_ms,
        )

    def hold(self) -> Callable[[], None]:
        """From now on no answer reaches the page until the function returned is called."""
        self.page.evaluate(
            """() => {
              const ask = window.fetch;
              const released = new Promise((release) => (window.releaseAnswers = release));
              window.fetch = async (...words) => {
                const answer = await ask(...words);
                await released;
                return answer;
              };
            }"""
        )
        return lambda: self.page.evaluate("() => window.releaseAnswers()")

    def wait(self, until: Callable[[], Any]) -> None:
        """Lets the page run until the test sees what it waits for; fails after ten seconds."""
        for _ in range(200):
            if until():
                return
            self.page.wait_for_timeout(50)
        raise AssertionError("waited ten seconds in vain")

    def text(self, selector: str) -> str:
        return self.page.locator(selector).inner_text().replace("\u00a0", " ")

    def _hear(self, message: ConsoleMessage) -> None:
        if "Content Security Policy" in message.text:
            self.faults.append(message.text)

    def _join(self, connection: WebSocketRoute) -> None:
        self.connections.append(connection)

    def _answer(self, route: Route) -> None:
        self.asked.append((route.request.url.split("/api/v1/")[1], route.request.post_data_json))
        if self.refusal:
            route.fulfill(status=409, json=self.refusal, content_type="application/problem+json")
        else:
            route.fulfill(json=self.answers.get(self.asked[-1][0], {}))


@pytest.fixture
def page(chromium: Browser) -> Iterator[Page]:
    """A page on a real daemon; it must have run without an error."""
    context = chromium.new_context(viewport={"width": 1280, "height": 800})
    opened = context.new_page()
    problems: list[str] = []
    opened.on("pageerror", lambda error: problems.append(str(error)))
    opened.on("console", lambda message: problems.append(message.text) if message.type == "error" else None)
    yield opened
    context.close()
    # The daemon of a test ends before its page does; the page then looks for it, in vain. Refusals (409, 422) are
    # part of the job and shown on the page.
    meant = ("net::ERR_CONNECTION_", "status of 409", "status of 422")
    assert [text for text in problems if not any(part in text for part in meant)] == []


@pytest.fixture
def jig(tmp_path: Path) -> Iterator[Jig]:
    """A jig whose cable can be pulled, its rider simulated at forty times life."""
    command = [sys.executable, "-m", "tests.browser.jig", "40", str(tmp_path / "job.sqlite")]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            yield Jig(process, process.stdout.readline().strip())
        finally:
            process.terminate()
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(timeout=20)


@pytest.fixture
def desk(chromium: Browser, address: str) -> Iterator[Callable[..., Desk]]:
    """Opens pages as a fitter's desk; every one must have run without an uncaught error."""
    opened: list[Desk] = []

    def make(**context: Any) -> Desk:
        opened.append(Desk(chromium, address, **context))
        return opened[-1]

    yield make
    for each in opened:
        each.context.close()
    assert [fault for each in opened for fault in each.faults] == []


@pytest.fixture
def run(desk: Callable[..., Desk], messages: dict[str, dict[str, Any]]) -> Desk:
    """The run's screen with the saved snapshot, the saddle asked to move to 40 mm."""
    at = desk().open(messages["snapshot"])
    at.send(messages["sweep"])
    return at
