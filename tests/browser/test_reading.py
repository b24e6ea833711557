"""The reading card on a connection that falters: an answer that is lost, a fault that hides the card for a while."""

import pytest

from daq.sweep.run import State
from tests.browser.answers import sweep_in
from tests.browser.desk import LOST

TYPED = {"unit": "kg", "step": 0.1, "saddle": False, "effort": "typed", "heard": None, "shown_saddle": []}


def held(messages, taken, *, due_in_s=(-9.0, -5.0, -1.0), **fields):
    """A position at which this many of three readings are taken."""
    shown = ["9.2", "9.3", "9.4"][:taken]
    typed = {**TYPED, "taken": taken, "shown": shown, "due_in_s": list(due_in_s), "wants_effort": True}
    return sweep_in(messages, State.AVERAGING, typed=typed, target=None, **fields)


@pytest.fixture
def scale(desk, messages):
    snapshot = messages["snapshot"]
    rig = {**snapshot["rig"], "typed": True}
    return desk().open({**snapshot, "rig": rig, "sources": [], "sweep": held(messages, 0), "steps": []})


def lost(at, path):
    """The daemon does what it is asked, and its answer does not arrive."""
    at.answers[f"typed/{path}"] = LOST


def asked(at, path):
    return [body for where, body in at.asked if where == f"typed/{path}"]


def test_a_reading_whose_answer_is_lost_does_not_stay_in_the_field(scale, messages):
    lost(scale, "readings")
    scale.wait(lambda: scale.text(".reading-words") == "READ NOW")
    scale.page.keyboard.type("9.2")
    scale.page.keyboard.press("Enter")
    scale.page.get_by_text("may or may not have been done").wait_for()

    scale.send(held(messages, 1))

    assert scale.page.locator("#reading-hands").input_value() == ""
    scale.answers.clear()
    scale.asked.clear()
    scale.page.keyboard.type("9.3")
    scale.page.keyboard.press("Enter")
    scale.wait(lambda: asked(scale, "readings"))
    assert asked(scale, "readings")[0]["hands"] == "9.3"


def test_an_effort_whose_answer_is_lost_does_not_stay_in_the_field(scale, messages):
    """At the next position 210 would become 200210, which the form does not send."""
    lost(scale, "effort")
    scale.send(held(messages, 3))
    for keys in ("200", "90"):
        scale.page.keyboard.type(keys)
        scale.page.keyboard.press("Tab")
    scale.page.locator("#reading-cadence").press("Enter")
    scale.page.get_by_text("may or may not have been done").wait_for()
    scale.answers.clear()
    scale.asked.clear()

    scale.send(
        sweep_in(
            messages, State.MOVING, typed={**TYPED, "taken": 0, "shown": [], "due_in_s": [], "wants_effort": False}
        )
    )
    scale.send(held(messages, 3, step=6))
    for keys in ("210", "91"):
        scale.page.keyboard.type(keys)
        scale.page.keyboard.press("Tab")
    scale.page.locator("#reading-cadence").press("Enter")

    scale.wait(lambda: asked(scale, "effort"))
    assert asked(scale, "effort") == [{"power_w": 210, "cadence_rpm": 91}]


def test_after_a_fault_that_hid_the_card_the_keys_are_its_again(scale, messages):
    hands = scale.page.locator("#reading-hands")
    scale.wait(lambda: hands.evaluate("(field) => field === document.activeElement"))

    scale.send(held(messages, 0, over="chest pain"))
    assert not hands.is_visible()
    scale.send(held(messages, 0))

    scale.wait(lambda: hands.evaluate("(field) => field === document.activeElement"))
