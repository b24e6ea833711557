"""The repeat of a test: the same but for what a rider could expect."""

from daq.fit.repeat import as_body, as_wish, repeat_of
from daq.live.web.api import NewSweep
from daq.sweep.plan import Plan, out_and_back

RIDDEN = Plan(
    positions_mm=out_and_back(80.0, 30.0, 6), gradient_pct=4.5, power_w=180.0, start_setback_mm=75.0, label="before"
)


def test_places_effort_and_gradient_stay_and_the_protocol_is_added():
    plan = repeat_of(RIDDEN, 7)
    visits = [plan.positions_mm.count(mm) for mm in sorted(set(RIDDEN.positions_mm))]

    assert set(plan.positions_mm) == set(RIDDEN.positions_mm)
    assert sum(visits) - len(visits) >= 2, "a sham, and the first place again"
    assert plan.positions_mm[-1] == plan.positions_mm[0]
    assert any(a == b for a, b in zip(plan.positions_mm, plan.positions_mm[1:], strict=False))
    assert (plan.gradient_pct, plan.power_w, plan.blinded, plan.order) == (4.5, 180.0, True, "shuffled")
    assert plan.start_setback_mm is None, "where the saddle starts that day is measured that day"
    assert repeat_of(RIDDEN, 7) == plan
    assert repeat_of(RIDDEN, 8).positions_mm != plan.positions_mm


def test_the_daemon_takes_it_and_the_page_is_filled_with_it():
    plan = repeat_of(RIDDEN, 7)

    assert NewSweep(**as_body(plan)).plan() == plan
    wish = as_wish(plan)
    assert (wish["rear_mm"], wish["front_mm"], wish["apart_mm"], wish["seed"]) == (80.0, 30.0, 10.0, 7)
