"""Counts the clicks and keys of a whole visit, from the client to the sheet: python -m tests.browser.handwork

Pedal presses, the red-flag questions and what only the simulated jig asks for are counted apart.
"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Page, expect, sync_playwright

from tests.browser.conftest import CHROMIUM_ARGS
from tests.browser.day import LONG_MS, Jig
from tests.chromium import chromium_path

COUNT = """
  const count = (name) => localStorage.setItem(name, Number(localStorage.getItem(name) ?? 0) + 1);
  addEventListener("pointerdown", ({ target }) => count(target.closest(".questions") ? "flags" : "clicks"), true);
  addEventListener("keydown", ({ key, target }) =>
    count(key === " " && !target.closest("input, textarea") ? "pedal" : "keys"), true);
"""


def visit(page: Page, jig: Jig) -> None:
    """A client whose hamstrings cramp, 78 mm behind the bottom bracket."""
    page.goto(f"{jig.url}#client")
    page.get_by_label("Agrees to the fitting").click()
    page.get_by_role("button", name="Begin with a new pseudonym").click()
    page.get_by_label("Mass as ridden").click()
    for typed in ("75", "815", "78"):
        page.keyboard.type(typed)
        page.keyboard.press("Tab")
    page.keyboard.press("Space")  # setback is measured to the nose
    page.keyboard.press("Tab")
    for typed in ("722", "-1", "170"):
        page.keyboard.type(typed)
        page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.type("cramps on climbs")
    page.locator(".figure-of-body").nth(1).locator(".patch").nth(4).click(position={"x": 10, "y": 10})
    page.get_by_role("group", name="Side").get_by_text("both", exact=True).click()
    page.keyboard.press("Tab")
    page.keyboard.press("7")
    for row in page.locator(".questions fieldset").all():
        row.get_by_text("no", exact=True).click()
    expect(page.locator(".kept")).to_have_text("kept as typed")
    page.get_by_role("link", name="Plan the sweep").click()
    page.get_by_role("button", name="Set this plan").click()
    for act in ("Cleats are set and tight", "Height is as written", "Tilt is as written", "Their place is marked"):
        page.get_by_role("button", name=act).click()
    apart(page, jig)
    page.get_by_role("link", name="To the run").click()
    ride(page, jig)
    page.locator(".dock .main").click()
    expect(page.locator(".marker")).to_be_visible(timeout=LONG_MS)
    page.locator(".reasons-offered button").first.click()
    page.get_by_label("Decided by").click()
    page.keyboard.type("B. Fitter")
    with page.expect_popup():
        page.get_by_role("button", name="Keep and print").click()


def apart(page: Page, jig: Jig) -> None:
    """The simulated rider never steps off, so its zero is gone on without; not counted."""
    reason = {"check": "zero", "reason": "the simulated rider cannot step off"}
    page.evaluate(
        """(body) => fetch("/api/v1/visit/overrides", {
          method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) })""",
        reason,
    )
    expect(page.locator(".ready")).to_have_text("Ready: the sweep may begin.", timeout=LONG_MS)


def ride(page: Page, jig: Jig) -> None:
    """Every step confirmed by the pedal, each with its three scores."""
    for _ in range(1200):
        told = jig.sweep()
        state = told["sweep"]["state"]
        if state == "finished":
            return
        if state in ("waiting", "moving"):
            page.keyboard.press("Space")
        elif state == "averaging" and not told["sweep"]["notes"]:
            page.keyboard.type("345")
        page.wait_for_timeout(80)
    raise AssertionError("the sweep did not end")


def count() -> dict[str, int]:
    """One visit on a jig of its own."""
    store = Path(tempfile.mkdtemp(prefix="foreaft-handwork-")) / "job.sqlite"
    command = [sys.executable, "-m", "tests.browser.jig", "40", str(store)]
    with (
        sync_playwright() as playwright,
        subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process,
    ):
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=CHROMIUM_ARGS)
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        page.add_init_script(COUNT)
        assert process.stdout is not None
        visit(page, Jig(process, process.stdout.readline().strip()))
        counted: dict[str, int] = page.evaluate(
            "Object.fromEntries(['clicks', 'keys', 'flags', 'pedal'].map((k) => [k, Number(localStorage.getItem(k))]))"
        )
        browser.close()
        process.terminate()
    return counted


if __name__ == "__main__":
    print(json.dumps(count()))
