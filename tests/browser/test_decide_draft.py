"""What the fitter has written and considered on Decide, and not kept yet."""

import pytest

from tests.browser.deciding import focus_marker, opened, shown


@pytest.fixture
def decide(desk, messages):
    """Decide with a level sweep and a climb, nothing decided yet."""
    return opened(desk, messages, "decide")


def test_what_is_written_of_a_decision_is_there_again_after_the_ride(decide):
    decide.page.get_by_label("Reason").fill("hands stay light")
    again(decide)

    assert decide.page.get_by_label("Reason").input_value() == "hands stay light"
    visit = decide.answers["visit"]["visit"]
    decide.answers["visit/evidence"]["visit_id"] = 9
    decide.send({"type": "visit", "visit": {**visit, "id": 9}})
    decide.wait(lambda: decide.page.get_by_label("Reason").input_value() == "")


def test_the_setback_considered_is_there_again(decide):
    focus_marker(decide)
    decide.page.keyboard.press("Shift+ArrowRight")
    again(decide)
    assert shown(decide)[0] == 54

    decide.page.get_by_label("Setback decided").fill("61")
    decide.page.reload()
    decide.wait(lambda: decide.page.locator(".marker").count() and shown(decide)[0] == 61)

    for none in ("", "610", "61.5"):
        decide.page.get_by_label("Setback decided").fill(none)
        decide.page.get_by_label("Reason").fill("hands stay light")
        again(decide)
        assert shown(decide)[0] == 61


@pytest.mark.parametrize("newer", [{"main": 9}, {"decision": {"setback_mm": 61.0}}, {"visit_id": 9}])
def test_what_was_considered_ends_with_another_sweep_decision_or_client(decide, newer):
    decide.page.get_by_label("Setback decided").fill("54")
    decide.answers["visit/evidence"] |= {"chosen_mm": 61.0, **newer}
    if "visit_id" in newer:
        visit = decide.answers["visit"]["visit"] | {"id": 9}
        decide.send({"type": "visit", "visit": visit})
    again(decide)

    assert shown(decide)[0] == 61


def again(at):
    """Another screen, and back."""
    at.page.evaluate("location.hash = '#run'")
    at.wait(lambda: at.page.locator(".dock").count())
    at.page.evaluate("location.hash = '#decide'")
    at.wait(lambda: at.page.locator(".marker").count())
