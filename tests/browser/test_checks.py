"""The checks on the page: each open one has the act that closes it, at its place."""

import json

import pytest
from playwright.sync_api import expect

from daq.sweep.run import State
from tests.browser.answers import ANSWERS, sweep_in

ACTS = {"zero": "Take the zero", "cleats": "Cleats are set", "height": "Height is as written", "tilt": "Tilt is as"}


@pytest.fixture
def checks(desk, messages):
    """The checks of a visit in which nothing is seen to yet."""
    at = desk()
    at.answers = json.loads(ANSWERS.read_text())
    visit = at.answers["visit"]["visit"]
    every = [{**one, "state": "open", "reason": ""} for one in visit["checks"]]
    measured = {"height_mm": None, "saddle_tilt_deg": None, "cleats_set": False, "hands_marked": False, "hands": None}
    visit = {**visit, "checks": every, "measured": measured, "in_the_way": "checks still open: zero"}
    at.answers["visit/measured"] = {**visit, "measured": {**measured, "cleats_set": True}}
    at.open({**messages["snapshot"], "visit": visit, "sweep": sweep_in(messages, State.WAITING)}, "checks")
    return at


def test_each_open_check_has_its_act_and_a_done_one_has_none(checks):
    for key, words in ACTS.items():
        row = checks.page.locator(".checks li", has=checks.page.locator(f"#without-{key}"))
        assert row.get_by_role("button", name=words).is_visible()
    visit = checks.answers["visit/measured"]
    done = [{**one, "state": "done"} for one in visit["checks"]]
    checks.send({"type": "visit", "visit": {**visit, "checks": done, "in_the_way": ""}})
    assert checks.page.locator(".check-act:visible").count() == 0
    assert checks.text(".ready").endswith("the sweep may begin.")


def test_on_a_tablet_a_check_has_the_width_of_the_screen(checks):
    """Beside the list, what is said of each was a word a line."""
    checks.page.set_viewport_size({"width": 834, "height": 1112})

    assert checks.page.locator(".checks li > p").first.bounding_box()["width"] > 400


def test_two_presses_one_after_the_other_do_not_write_over_each_other(checks):
    checks.slow(150)
    checks.page.evaluate(
        """() => {
          const buttons = [...document.querySelectorAll(".check-act button")];
          for (const words of ["Cleats are set", "Height is as"])
            buttons.find((each) => each.textContent.startsWith(words)).click();
        }"""
    )
    checks.wait(lambda: len([path for path, _ in checks.asked if path == "visit/measured"]) == 2)
    first, second = [body for path, body in checks.asked if path == "visit/measured"]

    # an answer or a message of the stream may come between the two: neither says what it was not pressed for
    assert first == {"cleats_set": True}
    assert second == {"height_mm": 722, "knee_deg": None}


def test_a_press_while_the_one_before_waits_for_its_answer_comes_after_it(checks):
    release = checks.hold()
    for words in ("Cleats are set and tight", "Their place is marked"):
        checks.page.get_by_role("button", name=words).click()
        checks.send()  # the page has drawn what waits
    release()
    checks.wait(lambda: len([path for path, _ in checks.asked if path == "visit/measured"]) == 2)

    assert checks.asked[-1][1]["hands_marked"] is True


def test_nothing_moves_from_under_a_pointer_that_is_down(checks):
    """An answer closes up the check above just then; released over something else, the press was lost."""
    visit = checks.answers["visit/measured"]
    closed = [{**one, "state": "done" if one["key"] == "cleats" else "open"} for one in visit["checks"]]
    box = checks.page.get_by_role("button", name="Height is as written").bounding_box()
    checks.page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    checks.page.mouse.down()
    checks.send({"type": "visit", "visit": {**visit, "checks": closed}})
    checks.page.mouse.up()
    checks.wait(lambda: checks.asked and checks.asked[-1][0] == "visit/measured")

    assert checks.asked[-1][1]["height_mm"] == 722


def test_a_pointer_that_never_comes_up_holds_the_page_for_a_second_only(checks):
    visit = checks.answers["visit/measured"]
    checks.page.get_by_role("button", name="Height is as written").hover()
    checks.page.mouse.down()
    checks.send({"type": "visit", "visit": {**visit, "checks": [{**one, "state": "done"} for one in visit["checks"]]}})

    checks.wait(lambda: checks.page.locator(".check-act:visible").count() == 0)
    checks.page.mouse.up()


def test_a_pointer_that_drags_or_rests_elsewhere_holds_nothing_up(checks):
    visit = checks.answers["visit/measured"]
    checks.page.get_by_role("heading", name="Before the sweep").hover()
    checks.page.mouse.down()
    checks.send({"type": "visit", "visit": {**visit, "checks": [{**one, "state": "done"} for one in visit["checks"]]}})

    assert checks.page.locator(".check-act:visible").count() == 0
    checks.page.mouse.up()


def test_a_screen_shows_what_is_known_before_the_next_frame(checks):
    """On a slow screen, a number typed before the first frame would be written over by the one that is known."""
    checks.page.evaluate("location.hash = 'run'")
    checks.page.get_by_role("button", name="Stop").wait_for()
    checks.page.evaluate("window.requestAnimationFrame = () => 0")
    checks.page.wait_for_timeout(100)  # the one asked for before comes still
    checks.page.evaluate("location.hash = 'checks'")

    expect(checks.page.get_by_label("Saddle height, BB to top")).to_have_value("722")


def test_to_go_on_without_a_check_takes_a_reason_of_its_own(checks):
    checks.page.get_by_text("Go on without: level").click()
    checks.page.locator("#without-level").fill("a spirit level says so")
    checks.page.locator("#without-level").press("Enter")
    checks.wait(lambda: checks.asked and checks.asked[-1][0] == "visit/overrides")

    assert checks.asked[-1][1] == {"check": "level", "reason": "a spirit level says so"}


def test_the_black_button_is_never_the_run_while_a_check_is_open(checks):
    assert checks.page.get_by_role("link", name="To the run").count() == 0
    assert not [each.inner_text() for each in checks.page.locator("a.main:visible").all() if "run" in each.inner_text()]


def test_scales_that_are_read_have_no_hold_to_add_up(checks, messages):
    doubt = checks.page.get_by_text("When the sum of the loads is in doubt")
    hold = checks.page.get_by_role("button", name="Add up this hold")
    doubt.click()
    expect(hold).to_be_visible()

    typed = {"unit": "kg", "scales": ["hands", "saddle"]}
    checks.send({**messages["snapshot"], "rig": {**messages["snapshot"]["rig"], "typed": typed}})
    expect(hold).to_be_hidden()
    expect(doubt).to_be_hidden()
