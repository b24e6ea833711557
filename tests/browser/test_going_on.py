"""After the end of a sweep: going on from the step it stood at, and riding what would settle it."""

import pytest

from daq.sweep.run import State
from tests.browser.answers import sweep_in


@pytest.fixture
def ended(desk, messages):
    def opened(state, **fields):
        at = desk()
        at.open({**messages["snapshot"], "sweep": sweep_in(messages, state, **fields)})
        return at

    return opened


def asked_for_more(at):
    return [body for path, body in at.asked if path == "sweep/more"]


def test_a_sweep_stopped_by_mistake_can_go_on_from_its_step(ended, messages):
    at = ended(State.STOPPED, may_go_on=True, step=5, steps_planned=11, to_settle=None)
    going = sweep_in(messages, State.MOVING, may_go_on=False, step=5, to_settle=None)
    at.answers["sweep/more"] = going

    at.page.get_by_role("button", name="Go on from step 5 of 11").click()

    at.wait(lambda: "Step" in at.text("#now-title"))
    assert asked_for_more(at) == [{"positions_mm": []}]
    assert at.page.locator(".more button:visible").count() == 0


def test_an_undecided_sweep_offers_what_would_settle_it(ended):
    to_settle = {"positions_mm": [80.0, 61.0, 35.0, 30.0], "minutes": 3.4}
    at = ended(State.FINISHED, may_go_on=False, to_settle=to_settle)

    at.page.get_by_role("button", name="Ride these 4, 4 minutes: 80, 61, 35, 30 mm").click()

    at.wait(lambda: asked_for_more(at))
    assert asked_for_more(at) == [{"positions_mm": [80, 61, 35, 30]}]


def test_nothing_is_offered_where_nothing_is_left(ended):
    at = ended(State.FINISHED, may_go_on=False, to_settle=None)

    assert at.page.locator(".more button:visible").count() == 0
