"""A whole visit without a board in a real browser: `foreaft serve --typed`, a scale read at the calls, a decision."""

import contextlib
import subprocess
import sys
import time

import pytest
from playwright.sync_api import expect

from daq.live.typed_rig import typed_rig_text
from tests.browser.day import Jig, meet_briefly

KG = {80: "9.3", 70: "9.2", 60: "9.1", 50: "10.4", 40: "12.5", 30: "14.6"}
"""What the scale shows at each setback: level behind 55 mm, 2 N more for each mm forward of it."""
READINGS = 3
SIZES = {"laptop": (1280, 800), "phone": (390, 844)}


@pytest.fixture
def served(tmp_path):
    """A rig read in kilograms, undamped and with few readings: a visit is tried here, not its minutes."""
    rig = tmp_path / "typed.toml"
    text = typed_rig_text("kg", 0.1).replace("readings = 5", f"readings = {READINGS}")
    rig.write_text(text.replace("damping_s = 1.0", "damping_s = 0"))
    command = [sys.executable, "-m", "daq.cli", "serve", "--typed", "--rig", str(rig), "--port", "0"]
    with subprocess.Popen(
        [*command, "--store", str(tmp_path / "store.sqlite")], stderr=subprocess.PIPE, text=True
    ) as process:
        try:
            yield Jig(process, next(line.split()[1] for line in process.stderr if line.startswith("dashboard: ")))
        finally:
            process.terminate()
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.communicate(timeout=60)


class Camera:
    """Pictures of the cards, where a folder is given."""

    def __init__(self, page, folder=None):
        self._page, self._folder = page, folder

    def take(self, name):
        if self._folder is None:
            return
        for size, (width, height) in SIZES.items():
            self._page.set_viewport_size({"width": width, "height": height})
            for scheme in ("light", "dark"):
                self._page.emulate_media(color_scheme=scheme)
                self._page.wait_for_timeout(120)
                self._page.screenshot(path=self._folder / f"{name}-{size}-{scheme}.png")
        self._page.set_viewport_size({"width": 1280, "height": 800})


def plan(page):
    page.locator(".visit-line").get_by_role("link", name="Plan").click()
    for label, value in (("Rear end", 80), ("Front end", 30), ("Spacing", 10), ("Settling", 0), ("Recording in", 8)):
        page.get_by_label(label).fill(str(value))
    page.get_by_label("First position again").uncheck()
    expect(page.locator(".plan-order")).to_contain_text("7 steps")  # of what was typed last, not of the plan before
    expect(page.locator(".plan-order")).to_contain_text("hips that slide on the saddle")
    expect(page.locator(".plan-order")).not_to_contain_text("No power")
    steps = int(page.locator(".plan-order").inner_text().split()[0])
    page.get_by_role("button", name="Set this plan").click()
    expect(page.get_by_role("heading", name="Before the sweep")).to_be_visible()
    return steps


def check(page, camera):
    expect(page.get_by_role("button", name="Take the zero")).to_be_hidden()
    expect(page.get_by_role("link", name="To the bench")).to_be_hidden()
    camera.take("checks")
    weight = page.get_by_role("form", name="Known weight")
    weight.get_by_label("Known weight").fill("10")
    weight.get_by_label("Display, empty").fill("0.0")
    weight.get_by_label("Display, with it").fill("10.1")
    weight.get_by_label("It stands still after").fill("0.5")
    page.get_by_role("button", name="Check the scale").click()
    expect(page.locator(".checks li", has_text="Calibration")).to_contain_text("done")
    page.get_by_role("button", name="Cleats are set and tight").click()
    page.get_by_label("Saddle tilt, nose up").fill("-1")
    page.get_by_role("button", name="Tilt is as written").click()
    page.get_by_role("button", name="Height is as written").click()
    page.get_by_role("button", name="Their place is marked").click()
    for name in ("Zero", "Sum of the loads"):
        expect(page.locator(".checks li", has_text=name).first).to_have_attribute("data-state", "not measured")
    page.get_by_text("Go on without: level").click()
    page.locator("#without-level").fill("read on a level")
    page.locator("#without-level").press("Enter")
    expect(page.locator(".ready")).to_have_text("Ready: the sweep may begin.")


def confirm(page, served, done):
    """The large button's key, as often as there is something to confirm before the next position is held."""
    last_s = time.monotonic() + 60.0
    while True:
        told = served.sweep()
        assert time.monotonic() < last_s, f"not held after a minute: {told['sweep']['state']}, {told['sweep']['typed']}"
        if len(told["steps"]) == done and told["sweep"]["state"] == "settling":
            return round(told["sweep"]["setback_mm"])
        if told["sweep"]["state"] in ("waiting", "moving"):
            page.keyboard.press("Space")
        page.wait_for_timeout(60)


def read(page, served, camera, steps):
    """All positions: the large button, readings at their calls by the number keys, power and cadence; slips refused."""
    hands, slips = page.locator("#reading-hands"), []
    page.get_by_role("link", name="To the run").click()
    for step in range(steps):
        at_mm = confirm(page, served, done=step)
        for number in range(READINGS):
            if step == 1:
                camera.take(f"wait{number}")
            expect(page.locator(".reading-which")).to_have_text(f"Reading {number + 1} of {READINGS}")
            expect(page.locator(".reading-words")).to_have_text("READ NOW")
            expect(hands).to_be_focused()
            if step == 1:
                camera.take(f"call{number}")
            shown = f"{float(KG[at_mm]) + 0.1 * number:.1f}"
            if step == 2 and number == 0:
                slips.append(slip(page, served, f"{float(shown) * 9.81:.1f}", "newtons typed for kilograms"))
                slips.append(slip(page, served, f"{float(shown) * 2.205:.1f}", "pounds typed for kilograms"))
                slips.append(slip(page, served, shown.replace(".", ""), f"{float(shown) * 10:.1f} against"))
                camera.take("slip")
            page.keyboard.type(shown)
            page.keyboard.press("Enter")
        expect(page.locator("#reading-power")).to_be_focused()
        if step == 1:
            camera.take("effort")
        page.keyboard.type("200")
        page.keyboard.press("Tab")
        page.keyboard.type("90")
        page.keyboard.press("Enter")
    return slips


def slip(page, served, typed, said):
    """Types what is wrong; gives the readings taken so far, of which it must be none."""
    page.keyboard.type(typed)
    page.keyboard.press("Enter")
    expect(page.locator(".message", has_text=said)).to_contain_text("say that it is so")
    expect(page.get_by_role("button", name="It is so: take it")).to_be_visible()
    return served.sweep()["sweep"]["typed"]["taken"]


def visit(page, served, folder=None):
    """The whole visit; the sheet's page is returned with what the daemon says of the sweep."""
    camera = Camera(page, folder)
    meet_briefly(page, served, "Cy Example")
    steps = plan(page)
    camera.take("plan")
    check(page, camera)
    assert read(page, served, camera, steps) == [0, 0, 0]
    expect(page.locator(".now")).to_have_attribute("data-state", "finished")
    told = served.sweep()
    rests = "hands (read off a scale) and effort; not measured: saddle, tilt and hips"
    expect(page.locator(".answer-rests")).to_contain_text(rests)
    camera.take("answer")
    page.locator(".visit-line").get_by_role("link", name="Decide").click()
    expect(page.locator(".window-line")).to_contain_text(rests)
    page.get_by_label("Setback decided").fill("60")
    page.get_by_label("Reason").fill("hands light")
    page.get_by_label("Decided by").fill("B. Fitter")
    camera.take("decide")
    with page.expect_popup() as popup:
        page.get_by_role("button", name="Keep and print").click()
    Camera(popup.value, folder).take("sheet")
    return popup.value, told


def test_a_visit_is_done_with_a_scale_and_no_board(page, served):
    sheet, told = visit(page, served)

    assert told["onset"]["verdict"] == "onset", told["onset"]["reasons"]
    low_mm, high_mm = told["onset"]["interval_95_mm"]
    assert low_mm <= 55.0 <= high_mm
    assert told["onset"]["grade"].startswith("measured: hands (read off a scale)")
    expect(sheet.locator("body")).to_contain_text("read off a scale")
