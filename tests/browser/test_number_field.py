"""Numbers as people type them, with a point or a comma, and what the page says of those that are none."""

import pytest

from daq.sweep.run import State, fitter_may

MASS = {"words": "Mass", "unit": "kg", "least": 30, "most": 200, "required": True}
CHANCE = {"words": "Chance", "unit": "%", "least": 0.1, "most": 50, "step": 0.1}
SCORE = {"words": "Effort", "unit": "0–10", "least": 0, "most": 10, "step": 1}


@pytest.mark.parametrize(
    ("text", "value"),
    [("74.5", 74.5), ("74,5", 74.5), (" -1,5 ", -1.5), ("\u22122", -2), ("+3", 3), (",5", 0.5), ("7.", 7), ("0", 0)],
)
def test_point_and_comma_both_make_a_number(js, text, value):
    assert js("number_field.js", "m.parsed(a)", text) == value


@pytest.mark.parametrize("text", ["", "-", "abc", "7 4", "1.2.3", "1.234,5", "1e5", "0x10", "Infinity", "7kg"])
def test_what_is_no_number_is_none(js, text):
    assert js("number_field.js", "Number.isNaN(m.parsed(a))", text)


@pytest.mark.parametrize(
    ("asked", "text", "said"),
    [
        (MASS, "74,5", ""),
        (MASS, "", "Mass: expected a number"),
        (MASS, "745", "Mass: expected a number from 30 to 200 kg, got 745"),
        (MASS, "heavy", "Mass: expected a number from 30 to 200 kg, got heavy"),
        (SCORE, "", ""),
        (SCORE, "11", "Effort: expected a whole number from 0 to 10, got 11"),
        (CHANCE, "51", "Chance: expected a number from 0.1 to 50 %, got 51"),
        (SCORE, "5,5", "Effort: expected a whole number from 0 to 10, got 5,5"),
    ],
)
def test_a_number_that_cannot_be_is_named_with_its_limits(js, asked, text, said):
    assert js("number_field.js", "m.wrongWith(a[0], a[1])", [asked, text]) == said


def test_a_comma_is_kept_on_the_way_to_the_daemon_and_shown_where_it_is_set(desk, messages):
    accepts = [str(event) for event in fitter_may(State.AVERAGING)]
    riding = {**messages["sweep"], "state": "averaging", "accepts": accepts, "noted_step": 4, "notes": {}}
    open_desk = desk().open(messages["snapshot"])
    open_desk.send(riding)
    tilt = open_desk.page.get_by_label("Saddle tilt")
    tilt.press_sequentially("-1,5")
    open_desk.page.get_by_role("button", name="Keep").click()
    open_desk.wait(lambda: ("step-notes", {"what": "saddle_tilt_deg", "value": -1.5}) in open_desk.asked)

    tilt.press("ArrowUp")

    assert tilt.input_value() == "-1.4"
