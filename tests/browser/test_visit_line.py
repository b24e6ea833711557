"""The visit as a line: what is done, what comes next, whose visit it is."""

import json

import pytest

from daq.sweep.run import State
from tests.browser.answers import ANSWERS, sweep_in
from tests.browser.shots import SIZES

INTAKE = {"mass_kg": 75}
OPEN = {"key": "zero", "title": "Zero", "state": "open"}


def in_visit(**visit):
    fields = {"id": 4, "intake": INTAKE, "returning": "", "unanswered": [], "checks": [], "in_the_way": ""}
    return {**fields, "decision": None, **visit}


def state(visit, sweep=None, steps=()):
    return {"visit": visit, "sweep": sweep, "steps": list(steps)}


@pytest.fixture
def sweeps(messages):
    return lambda state: sweep_in(messages, state)


@pytest.mark.parametrize(
    ("visit", "ridden", "to", "words"),
    [
        (None, None, "#client", "Choose a client"),
        (in_visit(intake=None), None, "#client", "Fill in the intake"),
        (in_visit(returning="as last time"), None, "#client", "Fill in the intake"),
        (in_visit(unanswered=["numb", "weak"]), None, "#client", "Ask the 2 open questions"),
        (in_visit(), None, "#plan", "Plan the sweep"),
        (in_visit(checks=[OPEN], in_the_way="zero"), State.WAITING, "#checks", "See to 1 open check"),
        (in_visit(), State.WAITING, "#run", "To the run"),
        (in_visit(checks=[OPEN]), State.AVERAGING, "#run", "Back to the run"),
        (in_visit(), State.FINISHED, "#decide", "Decide"),
        (in_visit(decision={"setback_mm": 58}), State.FINISHED, "/api/v1/visits/4/report", "Print the sheet"),
    ],
    ids=str,
)
def test_the_next_act_is_the_true_one(js, messages, sweeps, visit, ridden, to, words):
    steps = messages["steps"]["steps"][2:] if ridden is State.FINISHED else []
    found = js("visit_line.js", "m.nextAct(a)", state(visit, ridden and sweeps(ridden), steps))

    assert (found["to"], found["words"]) == (to, words)


def test_every_place_says_whether_it_is_done_open_or_waits_for_another(js, messages, sweeps):
    told = state(in_visit(checks=[OPEN], in_the_way="zero"), sweeps(State.WAITING))
    found = js("visit_line.js", "m.placesOf(a)", told)

    assert [(place["words"], place["stands"]) for place in found] == [
        ("Client", "done"),
        ("Plan", "done"),
        ("Checks", "open"),
        ("Run", "open"),
        ("Decide", "waits"),
        ("Sheet", "waits"),
    ]
    assert found[2]["part"] == "1 open"
    assert found[4]["why"] == "nothing is ridden yet"


@pytest.mark.parametrize("ridden", [State.AVERAGING, State.FINISHED])
def test_what_opens_again_while_the_rider_rests_is_not_called_open(js, messages, sweeps, ridden):
    told = state(in_visit(checks=[OPEN], in_the_way="zero"), sweeps(ridden), messages["steps"]["steps"][2:])
    (checks,) = [place for place in js("visit_line.js", "m.placesOf(a)", told) if place["words"] == "Checks"]

    assert (checks["stands"], checks["part"]) == ("done", "")


def test_the_large_button_begins_nothing_while_checks_are_open(js, sweeps):
    waiting = state(in_visit(checks=[OPEN], in_the_way="zero"), sweeps(State.WAITING))
    assert js("words.js", "m.mainAction(a)", waiting) == {
        "event": None,
        "label": "See to 1 open check",
        "to": "#checks",
    }
    ready = {**waiting, "visit": in_visit()}
    assert js("words.js", "m.mainAction(a)", ready)["event"] == "begin"


def test_a_name_that_comes_late_is_not_written_over_the_next_client(desk, messages):
    at = desk()
    visit = json.loads(ANSWERS.read_text())["visit"]["visit"]
    known = [{"pseudonym": "R-AAA", "name": "Ada Example"}, {"pseudonym": "R-BBB", "name": "Bo Example"}]
    at.answers["clients"] = known
    at.open({**messages["snapshot"], "visit": {**visit, "pseudonym": "R-AAA", "nth": 2}}, "checks")
    at.wait(lambda: "Ada Example · visit 2" in at.text(".who-name"))
    at.slow(400)
    at.send({"type": "visit", "visit": {**visit, "pseudonym": "R-CCC", "nth": 1}})
    assert at.text(".who-name") == "R-CCC · visit 1"
    at.send({"type": "visit", "visit": {**visit, "pseudonym": "R-AAA", "nth": 3}})
    at.send({"type": "visit", "visit": {**visit, "pseudonym": "R-BBB", "nth": 1}})
    at.wait(lambda: "Bo Example" in at.text(".who-name"))
    at.page.wait_for_timeout(600)

    assert at.text(".who-name") == "Bo Example · visit 1"


def test_all_places_of_the_line_are_in_sight_at_every_size(desk, messages):
    at = desk()
    visit = json.loads(ANSWERS.read_text())["visit"]["visit"]
    at.open({**messages["snapshot"], "visit": visit}, "checks")
    for width, height in SIZES.values():
        at.resize(width, height)
        boxes = [place.bounding_box() for place in at.page.locator(".place").all()]

        assert len(boxes) == 6
        assert all(box["x"] >= 0 and box["x"] + box["width"] <= width + 0.5 for box in boxes), boxes
        assert at.page.evaluate("document.documentElement.scrollWidth") <= width
