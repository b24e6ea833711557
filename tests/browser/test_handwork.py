"""Clicks and keys of a whole visit, from the client to the sheet, the confirm ride included.

Pedal presses, the red-flag questions and what only the simulated jig asks for are counted apart.
"""

import pytest
from playwright.sync_api import Page, expect

from tests.browser.day import Jig, ride_again

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
    page.get_by_role("button", name="Begin the visit").click()
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
    expect(page.locator(".marker")).to_be_visible()
    page.locator(".reasons-offered button").first.click()
    page.get_by_label("Decided by").click()
    page.keyboard.type("B. Fitter")
    ride_again(page, jig)
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
    expect(page.locator(".ready")).to_have_text("Ready: the sweep may begin.")


def ride(page: Page, jig: Jig) -> None:
    """Every step confirmed by the pedal, each with its three scores."""
    while True:
        told = jig.sweep()
        state = told["sweep"]["state"]
        if state == "finished":
            return
        if state in ("waiting", "moving"):
            page.keyboard.press("Space")
        elif state == "averaging" and not told["sweep"]["notes"]:
            page.keyboard.type("345")
        page.wait_for_timeout(40)


@pytest.mark.parametrize("jig", [100], indirect=True)
def test_a_whole_visit_takes_at_most_20_clicks_and_150_keys(page: Page, jig: Jig) -> None:
    """The budget is our own aim for three minutes of handwork; no source."""
    page.add_init_script(COUNT)
    visit(page, jig)
    counted = page.evaluate(
        "Object.fromEntries(['clicks', 'keys', 'flags', 'pedal'].map((k) => [k, Number(localStorage.getItem(k))]))"
    )

    assert 10 <= counted["clicks"] <= 20, counted
    assert 50 <= counted["keys"] <= 150, counted
    assert counted["pedal"] >= 12 + 4, counted
