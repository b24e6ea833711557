"""What the outlook of a sweep takes to be ridden yet."""

import pytest

from daq.live.session.beside import Beside
from daq.live.session.outlooks import Outlooks, to_ride_mm
from daq.sweep.plan import Plan
from daq.sweep.progress import SweepProgress
from tests.sweep.rides import hinge, stroke_ride

PLACES = (80.0, 60.0, 40.0, 30.0, 50.0, 70.0, 80.0)


def test_the_places_still_planned_will_be_ridden():
    assert to_ride_mm(Plan(PLACES), 3) == (30.0, 50.0, 70.0, 80.0)
    assert to_ride_mm(Plan(PLACES), 7) == ()


def test_an_adaptive_plan_is_taken_to_spread_what_is_left_over_its_range():
    assert to_ride_mm(Plan(PLACES, order="adaptive"), 3) == pytest.approx((80.0, 140.0 / 3.0, 30.0, 190.0 / 3.0))


@pytest.mark.parametrize(("order", "said"), [("out and back", True), ("one way", False)])
def test_a_sweep_that_names_no_onset_has_no_outlook_of_one(order, said, monkeypatch):
    asked = []
    monkeypatch.setattr(Beside, "compute", lambda _, progress, work: asked.append(work))
    progress = SweepProgress(Plan((80.0, 70.0, 60.0, 50.0, 40.0, 30.0), order=order))
    progress.steps += stroke_ride(hinge(52.0))[:5]

    Outlooks(progress=lambda: progress, now_us=lambda: 0).hear(progress.steps[-1])

    assert len(asked) == said
