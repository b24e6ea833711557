"""The dashboard in the system's Chromium: its modules one by one, and the page on a stream that the test writes."""

from __future__ import annotations

import contextlib
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from tests.browser.day import Jig
from tests.browser.desk import CHROMIUM_ARGS, Desk, Screens, serve_dashboard
from tests.chromium import chromium_path
from tests.live.examples import EXAMPLES

expect.set_options(timeout=60_000)  # a busy machine takes its time; a sound one answers at once


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


@pytest.fixture(scope="package")
def screens(chromium: Browser, address: str) -> Screens:
    """The pages that desks use one after the other."""
    return Screens(chromium, address)


@pytest.fixture
def page(chromium: Browser) -> Iterator[Page]:
    """A page on a real daemon; it must have run without an error. Its strips are drawn four times a second, as for
    whoever asks for less motion: without a graphics card, sixty times take most of a core."""
    context = chromium.new_context(viewport={"width": 1280, "height": 800}, reduced_motion="reduce")
    opened = context.new_page()
    problems: list[str] = []
    opened.on("pageerror", lambda error: problems.append(str(error)))
    opened.on("console", lambda message: problems.append(message.text) if message.type == "error" else None)
    yield opened
    context.close()
    # The daemon of a test ends before its page does; the page then looks for it, in vain. Refusals (409, 422) are
    # part of the job and shown on the page.
    meant = ("net::ERR_CONNECTION_", "net::ERR_SOCKET_NOT_CONNECTED", "status of 409", "status of 422")
    assert [text for text in problems if not any(part in text for part in meant)] == []


@pytest.fixture
def jig(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Jig]:
    """A jig whose cable can be pulled, its rider simulated at forty times life or the parameter's."""
    pace = str(getattr(request, "param", 40))
    command = [sys.executable, "-m", "tests.browser.jig", pace, str(tmp_path / "job.sqlite")]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            yield Jig(process, process.stdout.readline().strip())
        finally:
            process.terminate()
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(timeout=60)


@pytest.fixture
def desk(screens: Screens, address: str) -> Iterator[Callable[..., Desk]]:
    """Opens pages as a fitter's desk; every one must have run without an uncaught error."""
    opened: list[Desk] = []

    def make(**context: Any) -> Desk:
        opened.append(Desk(screens, address, **context))
        return opened[-1]

    yield make
    for each in opened:
        each.close()
    assert [fault for each in opened for fault in each.faults] == []


@pytest.fixture
def run(desk: Callable[..., Desk], messages: dict[str, dict[str, Any]]) -> Desk:
    """The run's screen with the saved snapshot, the saddle asked to move to 40 mm."""
    at = desk().open(messages["snapshot"])
    at.send(messages["sweep"])
    return at
