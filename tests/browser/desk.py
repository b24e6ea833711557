"""A page on a stream that the test writes, and the server that answers it.

A page that is loaded once and used again costs a quarter of a new one, so pages are kept: each goes to a picture after
its test, and forgets what was stored.
"""

from __future__ import annotations

import contextlib
import functools
import http.server
import json
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Dialog, Page, WebSocketRoute

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
API = "/api/v1/"
SCREEN = "x-screen"
"""The header that says which of the kept pages asks."""
LOST = object()
"""An answer that does not arrive."""
TIDY = "() => { localStorage.clear(); sessionStorage.clear(); }"


class _Served(http.server.SimpleHTTPRequestHandler):
    """The dashboard's files, and to each page the answers of the desk that has it."""

    protocol_version = "HTTP/1.1"

    def end_headers(self) -> None:
        self.send_header("Content-Security-Policy", POLICY)
        if not self.path.startswith(API):
            self.send_header("cache-control", "max-age=3600")
        super().end_headers()

    def log_message(self, *_: object) -> None:
        pass

    def do_GET(self) -> None:
        if self.path.startswith(API):
            self._answer()
        else:
            super().do_GET()

    def do_POST(self) -> None:
        self._answer()

    do_PUT = do_PATCH = do_DELETE = do_POST

    def _answer(self) -> None:
        sent = self.rfile.read(int(self.headers.get("content-length", 0)))
        desk = DESKS.get(self.headers.get(SCREEN, ""))
        status, kind, answer = (404, "json", {}) if desk is None else desk.answer(self.path.removeprefix(API), sent)
        if answer is LOST:
            self.wfile.write(b"lost\r\n\r\n")  # nothing at all would be asked again by the browser
            self.close_connection = True
            return
        body = json.dumps(answer).encode()
        self.send_response(status)
        self.send_header("content-type", f"application/{kind}")
        self.send_header("content-length", str(len(body)))
        self.send_header("cache-control", "no-store")
        self.end_headers()
        self.wfile.write(body)


DESKS: dict[str, Desk] = {}
"""Who has which page now, by the page's header."""


@contextlib.contextmanager
def serve_dashboard() -> Iterator[str]:
    """Serves dashboard/ on a free port of the loopback; gives its address."""
    handler = functools.partial(_Served, directory=str(DASHBOARD))
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_address[1]}"
        server.shutdown()


class Screen:
    """A page in a context of its own, which one desk after another uses."""

    def __init__(self, chromium: Browser, address: str, number: int, **context: Any) -> None:
        self.name = str(number)
        self._picture = f"{address}/icon.svg"
        self.context: BrowserContext = chromium.new_context(**context)
        self.page: Page = self.context.new_page()
        self.viewport = self.page.viewport_size
        self.page.set_extra_http_headers({SCREEN: self.name})
        self.page.on("pageerror", lambda error: self._fault(str(error)))
        self.page.on("console", self._hear)
        self.page.on("dialog", self._dialog)
        self.page.route_web_socket("**/api/v1/stream", self._join)

    def tidy(self) -> None:
        """Ends the page's scripts and its stream, and what a test had it do on the way to the server; then it is as a
        new page would be.
        """
        self.page.unroute_all()
        self.page.goto(self._picture)
        DESKS.pop(self.name, None)
        self.page.evaluate(TIDY)
        self.page.mouse.move(0, 0)
        if self.viewport and self.page.viewport_size != self.viewport:
            self.page.set_viewport_size(self.viewport)

    def _fault(self, text: str) -> None:
        if desk := DESKS.get(self.name):
            desk.faults.append(text)

    def _hear(self, message: ConsoleMessage) -> None:
        if "Content Security Policy" in message.text:
            self._fault(message.text)

    def _dialog(self, dialog: Dialog) -> None:
        self._fault(f"a dialog: {dialog.message}")
        dialog.dismiss()

    def _join(self, connection: WebSocketRoute) -> None:
        if desk := DESKS.get(self.name):
            desk.join(connection)


class Screens:
    """All pages of one Chromium, by how they were asked for."""

    def __init__(self, chromium: Browser, address: str) -> None:
        self._chromium, self._address = chromium, address
        self._free: dict[str, list[Screen]] = {}
        self._opened: list[Screen] = []

    def take(self, *, kept: bool, **context: Any) -> Screen:
        free = self._free.setdefault(repr(sorted(context.items())), [])
        if kept and free:
            return free.pop()
        self._opened.append(Screen(self._chromium, self._address, len(self._opened), **context))
        return self._opened[-1]

    def give_back(self, screen: Screen, *, kept: bool, **context: Any) -> None:
        screen.tidy()
        if kept:
            self._free[repr(sorted(context.items()))].append(screen)
        else:
            screen.context.close()


class Desk:
    """The page open on a stream the test writes; `asked` is what the page has sent to the daemon."""

    def __init__(self, screens: Screens, address: str, *, kept: bool = True, **context: Any) -> None:
        """kept: the page may be one used before, and will be used again; not for a test that adds to its scripts."""
        self.asked: list[tuple[str, Any]] = []
        self.faults: list[str] = []
        self.connections: list[WebSocketRoute] = []
        self._said: list[str | bytes] = []
        self.refusal: dict[str, str] | None = None
        self.answers: dict[str, Any] = {}
        """What a path answers, or a function of what was sent that says it: content, a status with a problem, or LOST.
        An empty object where nothing is named. Not by Playwright's routes: a request right after one is set may pass.
        """
        self._screens, self._address = screens, address
        self._wanted: dict[str, Any] = {"viewport": {"width": 1280, "height": 800}, "kept": kept, **context}
        self._screen = screens.take(**self._wanted)
        self.page: Page = self._screen.page
        DESKS[self._screen.name] = self

    def load(self, screen: str = "run") -> Desk:
        """The page with its stream open, on which nothing was said yet."""
        self.page.goto(f"{self._address}/#{screen}")
        self.page.wait_for_selector("#screen h1", state="attached")
        self.wait(lambda: self.connections)
        return self

    def open(self, snapshot: dict[str, Any], screen: str = "run") -> Desk:
        """The page once it has heard this snapshot: on a busy machine it may have left the stream it was sent on."""
        self.load(screen).send(snapshot)
        self.wait(lambda: self.text(".message.polite") != "Connecting to the jig.")
        return self

    def show(self, html: str) -> None:
        """A page that the daemon prints, with the dashboard's files beside it."""
        self.page.route("**/printed", lambda route: route.fulfill(body=html, content_type="text/html; charset=utf-8"))
        self.page.goto(f"{self._address}/printed")

    def close(self) -> None:
        """Gives the page back."""
        self._screens.give_back(self._screen, **self._wanted)

    def send(self, *sent: dict[str, Any] | bytes) -> None:
        """Messages of the daemon, then time for the page to draw them."""
        for message in sent:
            self._said.append(message if isinstance(message, bytes) else json.dumps(message))
            self.connections[-1].send(self._said[-1])
        self.page.evaluate("() => new Promise((done) => setTimeout(() => requestAnimationFrame(done), 60))")

    def resize(self, width: int, height: int) -> None:
        """Another window size, and time for the page to draw in it."""
        self.page.set_viewport_size({"width": width, "height": height})
        self.send()

    def join(self, connection: WebSocketRoute) -> None:
        """A page that heard nothing for five seconds connects again, as on a busy machine, and is told all again."""
        self.connections.append(connection)
        for message in self._said:
            connection.send(message)

    def cut(self, reason: str | None = None) -> None:
        """Ends the page's stream. The next one is told only what the test sends then, so the page waits for it."""
        self._said.clear()
        self.connections[-1].close(code=1001, reason=reason)

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
        """Lets the page run until the test sees what it waits for; fails after a minute."""
        last_s = time.monotonic() + 60.0
        while not until():
            assert time.monotonic() < last_s, "waited a minute in vain"
            self.page.wait_for_timeout(25)

    def text(self, selector: str) -> str:
        return self.page.locator(selector).inner_text().replace("\u00a0", " ")

    def answer(self, path: str, sent: bytes) -> tuple[int, str, Any]:
        """Status, kind of JSON and content of the answer to what the page asks."""
        if path == "access":
            return 200, "json", {"role": "run", "until_utc": None}
        body = json.loads(sent) if sent else None
        self.asked.append((path, body))
        if self.refusal:
            return 409, "problem+json", self.refusal
        told = self.answers.get(path, {})
        told = told(body) if callable(told) else told
        return (told[0], "problem+json", told[1]) if isinstance(told, tuple) else (200, "json", told)
