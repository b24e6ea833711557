"""A fitter's whole job in a real browser on the real daemon, the jig simulated: from the client to the follow-up."""

import math
import subprocess

import pytest
from playwright.sync_api import expect

from tests.browser.axe import faults
from tests.browser.day import check, hurts, meet, plan_eleven, ride, ride_again


def test_from_the_client_to_the_follow_up(page, jig, tmp_path):
    meet(page, jig)
    plan_eleven(page)
    check(page)
    assert ride(page, jig) == (True, True)
    told = jig.sweep()
    assert told["sweep"]["state"] == "finished"
    assert len(told["steps"]) == 12
    assert sum("hands" in step["notes"] for step in told["steps"]) >= 8

    page.locator(".visit-line").get_by_role("link", name="Decide").click()
    assert told["onset"]["verdict"] == "onset", told["onset"]["reasons"]
    onset_mm = told["onset"]["onset_mm"]
    low_mm, high_mm = told["onset"]["interval_95_mm"]
    front_mm = math.ceil(told["onset"]["suggested_setback_mm"])
    expect(page.locator(".window-line")).to_contain_text(f"from {front_mm} back to {min(front_mm + 10, 80)} mm")
    expect(page.get_by_label("Setback decided")).to_have_value(f"{front_mm}")
    expect(page.locator(".ways")).to_contain_text("Hands as light further forward")
    expect(page.locator(".follows")).to_contain_text("Weight on the front wheel")
    page.get_by_label("Setback decided").fill("90")
    expect(page.locator(".cautions")).to_contain_text("far from what was ridden")
    page.get_by_label("Setback decided").fill("84")
    expect(page.locator(".cautions")).to_contain_text("behind the window")
    page.get_by_label("Setback decided").fill("58")
    # 728 mm by Pythagoras with the leg's extension kept; tests/fit/test_options.py reckons it.
    expect(page.get_by_label("Saddle height")).to_have_value("728")
    page.get_by_label("Reason").fill("hands stay light, hamstrings tire")
    page.get_by_label("Decided by").fill("B. Fitter")
    expect(page.get_by_role("button", name="Keep and print")).to_be_hidden()
    ride_again(page, jig)
    expect(page.locator(".confirm caption")).to_contain_text("by turns, 2 and 2 times, the rider not knowing which")
    expect(page.get_by_label("Setback decided")).to_have_value("58")
    expect(page.get_by_label("Reason")).to_have_value("hands stay light, hamstrings tire")
    with page.expect_popup() as popup:
        page.get_by_role("button", name="Keep and print").click()
    sheet = popup.value
    sheet.wait_for_url("**/report")
    sheet.wait_for_load_state()
    assert faults(sheet) == {}
    for size in ("A4", "Letter"):
        path = tmp_path / f"{size}.pdf"
        sheet.pdf(path=path, format=size, tagged=True)
        words = " ".join(subprocess.run(["pdftotext", str(path), "-"], capture_output=True, text=True).stdout.split())
        about = subprocess.run(["pdfinfo", str(path)], capture_output=True, text=True).stdout
        assert "Pages: 2" in " ".join(about.split()), "the second is that of the tests"
        for said in (
            "SIMULATED",
            "visit 1",
            "At the 80 mm width: 133 mm, was 153",  # 58 + 75 mm, 78 + 75 mm
            f"Onset {onset_mm:.1f} mm, 95 % interval {low_mm:.1f} to {high_mm:.1f} mm",
            f"Suggested: {front_mm} mm, to choose from {front_mm} to",
            "method " + told["onset"]["method"],
            "calibration simulated",
            "Reason: rider cannot step off again",
            "see a clinician",
            "seen by her doctor in May",
            "20 mm forward, to 58 mm",
            "height 728",
            "Hold this strip to the rail",
            "100 mm",
            "Re-check",
            "Ridden again on the level, 58 mm against 78 mm by turns, 2 and 2 times, the rider not knowing which",
            "hamstrings tire",
            "On another day the hands begin to carry more between",
            "Chance that at 58 mm they already carry more: today",
            "Nobody was tested on a second day here yet",
            "Page 2: tests Saddle sheet, ",
            "left for the feet: ",
        ):
            assert said in words, (said, words)
        assert "Ada Example" not in words

    page.get_by_text("More", exact=True).click()
    page.get_by_role("link", name="Follow-up").click()
    expect(page.locator(".due li")).to_contain_text("Ada Example")
    expect(page.locator(".due li")).to_contain_text("hands, left 6")
    page.get_by_role("button", name="Ask now").click()
    page.get_by_label("Overall").select_option("better")
    hurts(page, "hands", "left", 2)
    page.get_by_role("button", name="Save these answers").click()
    expect(page.locator(".due li")).to_contain_text("Answered: better")
    expect(page.locator(".due li")).to_contain_text("hands, left: 6 to 2")


def reach(page, name):
    """Tab until the control with this name has the focus, as somebody without a pointer does."""
    for _ in range(160):
        page.keyboard.press("Tab")
        focused = page.evaluate(
            "(() => { const a = document.activeElement; if (!a || a === document.body) return '';"
            " return a.getAttribute('aria-label') || (a.labels?.[0] ?? a).textContent || ''; })()"
        )
        if name in focused:
            return
    raise AssertionError(f"no way to {name} with the Tab key")


@pytest.mark.parametrize("jig", [100], indirect=True)
def test_the_job_can_be_done_without_a_pointer(page, jig):
    page.goto(f"{jig.url}#client")
    expect(page.get_by_role("heading", name="Client", exact=True)).to_be_visible()
    for name, keys in (("Name, kept apart", "Bo Example"), ("Agrees to the fitting", None)):
        reach(page, name)
        page.keyboard.type(keys) if keys else page.keyboard.press("Space")
    reach(page, "Begin the visit")
    page.keyboard.press("Enter")
    expect(page.get_by_role("form", name="Intake")).to_be_visible()
    reach(page, "Mass as ridden")
    page.keyboard.type("75")
    reach(page, "nose")
    page.keyboard.press("Space")
    reach(page, "Place")
    page.keyboard.type("hands")
    page.keyboard.press("Enter")
    reach(page, "both")
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Tab")
    page.keyboard.press("6")
    expect(page.locator(".complaints")).to_contain_text("hands, right6")
    reach(page, "yes")
    for _ in range(6):
        page.keyboard.press("ArrowRight")
        page.keyboard.press("Tab")
    expect(page.locator(".kept")).to_have_text("kept as typed")
    reach(page, "Plan the sweep")
    page.keyboard.press("Enter")
    reach(page, "Set this plan")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Before the sweep")).to_be_visible()
    for skipped in ("zero", "feet and cleats", "saddle height", "saddle tilt", "hand position"):
        page.evaluate("document.activeElement.blur()")
        reach(page, f"Go on without: {skipped}")
        page.keyboard.press("Enter")
        expect(page.locator("input[id^=without-]:focus")).to_be_visible()
        page.keyboard.type("keyboard alone")
        page.keyboard.press("Enter")
        expect(page.get_by_text(f"Go on without: {skipped}")).to_be_hidden()
    expect(page.locator(".ready")).to_have_text("Ready: the sweep may begin.")
    reach(page, "To the run")
    page.keyboard.press("Enter")
    expect(page.locator(".dock")).to_be_visible()
    page.evaluate("document.activeElement.blur()")
    while (state := jig.sweep()["sweep"]["state"]) != "finished":
        if state in ("waiting", "moving"):
            page.keyboard.press("Space")
        page.wait_for_timeout(40)
    expect(page.locator(".dock .main")).to_contain_text("Decide")
    reach(page, "Decide")
    page.keyboard.press("Enter")
    expect(page.get_by_role("form", name="Decision")).to_be_visible()
    reach(page, "Setback to choose")
    before = page.get_by_label("Setback decided").input_value()
    page.keyboard.press("ArrowLeft")
    expect(page.get_by_label("Setback decided")).to_have_value(str(int(before) + 1))
    for name, keys in (("Reason", "hands stay light"), ("Decided by", "B. Fitter")):
        reach(page, name)
        page.keyboard.type(keys)
    reach(page, "Keep and print")
    with page.expect_popup() as popup:
        page.keyboard.press("Enter")
    expect(popup.value.get_by_role("heading", name="Saddle sheet")).to_be_visible()
    popup.value.close()
    reach(page, "More")
    page.keyboard.press("Enter")
    reach(page, "Follow-up")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Follow-up", exact=True)).to_be_visible()
    reach(page, "Ask now")
    page.keyboard.press("Enter")
    page.keyboard.type("better")
    reach(page, "Save these answers")
    page.keyboard.press("Enter")
    expect(page.locator(".due li")).to_contain_text("Answered: better")


@pytest.mark.parametrize("jig", [5], indirect=True)
def test_the_sweep_is_stopped_by_one_key(page, jig):
    """Space begins and confirms, Escape stops, with the focus nowhere."""
    page.goto(f"{jig.url}#plan")
    page.get_by_role("button", name="Set this plan").click()
    expect(page.locator(".dock")).to_be_visible()
    page.evaluate("document.activeElement.blur()")
    page.keyboard.press("Space")
    expect(page.locator(".lead")).to_contain_text("Move the saddle")
    page.wait_for_timeout(700)
    page.keyboard.press("Space")
    expect(page.locator(".lead")).to_contain_text("Keep pedalling")
    page.keyboard.press("Escape")
    expect(page.locator(".lead")).to_have_text("Stopped")
