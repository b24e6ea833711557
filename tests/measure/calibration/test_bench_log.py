"""A guided calibration kept as its setup and its steps, and taken up from them."""

import json

import pytest

from daq.measure.calibration.bench_log import StepKind, applied, bench_of, content_of
from daq.measure.calibration.bench_plan import BenchPlan
from daq.measure.calibration.bench_setup import Setup, from_content, made_from, to_content
from daq.measure.calibration.budget import BenchConditions
from daq.measure.calibration.certificate import Circumstances
from daq.measure.calibration.weights import of_class
from daq.refusals import NotNow
from tests.measure.calibration.simulated_bench import CHANNELS, done, plan, worked_until


def setup(**changes):
    return Setup(
        **{
            "plan": plan(),
            "conditions": BenchConditions(of_class("M1"), u_gravity_m_s2=5e-4, g_m_s2=9.81),
            "circumstances": Circumstances("R. Doe", "workshop", 21.5),
            "tilt": "tilt",
            "degrees_per_count": 0.001,
            "expected_per_n": (("bar", 8554.0),),
            **changes,
        }
    )


def through_json(value):
    return json.loads(json.dumps(value))


def steps_of(bench):
    return [(StepKind.TAKE, through_json(content_of(taken))) for taken in bench.taken]


def test_a_setup_comes_back_from_json_as_it_was():
    assert from_content(through_json(to_content(setup()))) == setup()


def test_a_bench_cut_off_anywhere_is_taken_up_at_the_same_reading():
    whole = worked_until()
    for cut in range(len(whole.taken) + 1):
        again = bench_of(plan(), steps_of(whole)[:cut])

        assert again.taken == whole.taken[:cut]


def test_what_was_read_again_stays_in_the_record_after_taking_up():
    steps = [
        *steps_of(worked_until("bar/1/rising/3")),
        (StepKind.REDO, {"task": "bar/1/rising/2"}),
        (StepKind.REDO_SERIES, {"cell": "bar", "series": 1}),
    ]

    bench = bench_of(plan(), through_json(steps))

    assert bench.task.id == "bar/1/zero"
    assert [taken.replaced for taken in bench.taken] == [False, True, True, True]


def test_a_step_that_does_not_fit_is_refused():
    with pytest.raises(NotNow, match="is not due now"):
        applied(bench_of(plan(), []), StepKind.TAKE, content_of(worked_until("bar/1/zero").taken[0]) | {"task": "x"})


def test_tilts_set_with_a_level_calibrate_the_tilt_channel_too():
    # the simulated tilt channel shows 0.001 deg a count; the board claims twice as much
    bench = worked_until()

    made = made_from(setup(known_tilts=True, degrees_per_count=0.002), bench, id="a", made_utc="2025-03-04T10:00:00Z")

    assert made.calibration.channel("tilt").coefficients[1] == pytest.approx(0.001, rel=1e-6)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"order": 3}, "order: expected 1"),
        ({"read_s": 0.5}, "read_s: expected 2"),
        ({"tilt": None}, "no tilt channel"),
        ({"degrees_per_count": None}, "set the tilts with a level"),
    ],
)
def test_a_setup_that_cannot_give_a_calibration_is_refused_before_anything_is_read(changes, says):
    with pytest.raises(ValueError, match=says):
        setup(**changes)


def test_a_plan_names_every_reading_of_its_log():
    small = BenchPlan(CHANNELS, (("bar", (50.0, 100.0, 200.0)),), series=2, creep_min=0.0)
    bench = bench_of(small, [])
    while bench.task is not None:
        bench = applied(bench, StepKind.TAKE, through_json(content_of(done(bench.task)[1])))

    assert list(bench.used) == [taken.task for taken in bench.taken]
