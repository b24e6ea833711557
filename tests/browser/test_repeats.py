"""What repeats have taught, on the page."""

import json

from tests.browser.answers import ANSWERS


def test_the_spreads_and_the_next_repeats_are_shown(desk, messages):
    at = desk()
    at.answers = json.loads(ANSWERS.read_text())
    at.open(messages["snapshot"], "repeats")
    told = at.answers["panel"]["panel"]
    spreads = at.page.get_by_role("region", name="Spreads")

    assert f"{told['riders']} riders, {told['days']} days" in spreads.inner_text()
    row = spreads.get_by_role("row", name="between days").first.inner_text()
    assert f"{told['day_sd_mm']:.1f}" in row
    assert told["next"] in at.page.get_by_role("region", name="What to repeat").inner_text()
    assert "R-DEF567" in at.page.get_by_role("region", name="What to repeat").inner_text()
    at.page.get_by_text("2 sweeps say nothing here").click()
    assert at.page.get_by_text("the hips slid on the saddle").is_visible()


def test_one_of_a_kind_is_not_many_and_a_day_is_written_as_everywhere(desk, messages):
    at = desk()
    at.answers = json.loads(ANSWERS.read_text())
    found = at.answers["panel"]
    one = {"riders": 1, "days": 1, "sweeps": 1, "slopes_n_per_mm": [1.44, 1.44, 1.44], "left_out": {"3": "a trial"}}
    found["panel"] |= one
    found["who"] = [{**found["who"][0], "day": "2026-11-29"}]
    at.open(messages["snapshot"], "repeats")
    at.wait(at.page.get_by_role("region", name="Spreads").is_visible)
    said = at.text("main")

    assert "1 rider, 1 day, 1 sweep" in said
    assert "1 sweep says nothing here" in said
    assert "rose by 1.44 N/mm." in said
    assert "29 Nov 2026" in said


def test_a_repeat_is_planned_by_its_protocol(desk, messages):
    at = desk()
    at.answers = json.loads(ANSWERS.read_text())
    at.open(messages["snapshot"], "repeats")
    at.page.get_by_role("button", name="Plan a repeat").press("Enter")
    at.wait(lambda: at.page.url.endswith("#plan"))
    at.wait(lambda: at.page.get_by_label("Name of this sweep").input_value() == "repeat")

    assert at.page.get_by_label("Order").input_value() == "shuffled"
    for name in ("One sham step", "First position again", "Rider sees neither"):
        assert at.page.get_by_label(name).is_checked(), name


def test_a_named_clients_test_is_planned_as_it_was_ridden(desk, messages):
    at = desk()
    at.answers = json.loads(ANSWERS.read_text())
    at.open({**messages["snapshot"], "visit": None, "sweep": None}, "repeats")
    at.page.get_by_role("button", name="Plan the test of R-DEF567 again").press("Enter")
    at.wait(lambda: at.page.url.endswith("#plan"))
    at.wait(lambda: at.page.get_by_label("Rear end").input_value() == "82")

    for name, value in (("Front end, behind the BB", "32"), ("Spacing", "10"), ("Gradient", "4.5"), ("Power", "180")):
        assert at.page.get_by_label(name, exact=True).input_value() == value, name
    assert at.page.get_by_label("Order").input_value() == "shuffled"


def test_before_the_first_test_the_page_says_what_to_ride(desk, messages):
    at = desk()
    at.answers = {**json.loads(ANSWERS.read_text()), "panel": {"panel": None, "left_out": {}}}
    at.open(messages["snapshot"], "repeats")

    assert at.page.get_by_text("ride it again on another day").is_visible()
