"""What to do about a sweep without an onset: what comes first, and one list of places to ride."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from daq.cli.telling import answer_lines
from daq.sweep.validity import explained as explaining
from daq.sweep.validity.conditions import Fault
from daq.sweep.validity.effects import DRIFT_N_PER_MIN, errors_of
from daq.sweep.validity.explained import Explained, explained
from daq.sweep.validity.judged import judged
from daq.sweep.validity.seen import seen
from daq.sweep.validity.slow import shapes
from daq.values import NextRide, Verdict
from tests.sweep.validity import sweeps
from tests.sweep.validity.faults import without_torque
from tests.sweep.validity.sweeps import ON_THE_JIG, SIGHTED, answer, flat, ride, sweep, with_bar

ASKED = NextRide((72.0, 37.0), (80.0, 30.0), whole=False, steps=6, minutes=6.0)
LIST = "to settle it: ride 72 and 37 mm, and 80 and 30 mm again, about 6 minutes; it settles about half of such sweeps"
UNDECIDED = replace(
    answer(), verdict=Verdict.UNDECIDED, onset_mm=None, interval_95_mm=None, suggested_setback_mm=None, p_onset=0.6,
    p_light=0.3, p_loaded=0.1, least_squares_mm=33.0, p_lag=((0.0, 0.8), (35.0, 0.2)), next_ride=ASKED,
    reasons=("most likely hand load begins to rise", LIST),
)  # fmt: skip


def confirmed(steps):
    return with_bar(steps, lambda setback_mm: 540.0 - setback_mm)


def first(count=20, *, of=UNDECIDED, conditions=ON_THE_JIG, **changes):
    """What is to be done first, of so many rides."""
    rng = np.random.default_rng(4)
    return [(judged(of, confirmed(sweep(rng, **changes)), conditions).cures or ("",))[0] for _ in range(count)]


@pytest.mark.parametrize(
    ("cure", "changes"),
    [
        ("rest, take the zero", {"load": flat, "more": lambda u, _: 25.0 * np.maximum(2.0 * u - 1.0, 0.0)}),
        ("rest, take the zero", {"load": flat, "more": lambda u, _: 25.0 * u}),
        ("mark where the hands rest", {"load": flat, "more": lambda _, i: 15.0 * (i >= 3)}),
    ],
    ids=["late", "steady", "hands"],
)
def test_the_first_cure_is_that_of_what_explains_the_loads_best(cure, changes):
    """Several of the tests find each of these, in the order of the table: hands, passes, fatigue."""
    told = first(**changes)

    assert sum(one.startswith(cure) for one in told) >= 0.8 * len(told)


def test_visits_that_scatter_are_cured_before_what_scatter_looks_like():
    scattered = replace(UNDECIDED, between_n=5.0)

    for conditions, knew in ((ON_THE_JIG, False), (SIGHTED, True)):
        told = first(of=scattered, conditions=conditions, between_n=6.0)
        assert sum(one.startswith("clamp the saddle at the same mark") for one in told) >= 0.8 * len(told)
        assert all(("knowing" in one) is knew for one in told if one.startswith("clamp"))


def test_a_cell_that_failed_after_the_last_step_comes_before_the_way_that_is_missing():
    steps = ride()[:6]
    fault = Fault("hands_right", "the converter stands at its end", steps[-1].strokes[-1].end_s + 25.0)

    found = judged(answer(), steps, replace(ON_THE_JIG, faults=(fault,)))

    assert [one.test for one in found.validity if one.forbids] == ["direction"]
    assert found.cures[0].startswith("fix 'hands right'")
    assert found.cures[1].startswith("go on with the sweep")
    assert found.reasons[0].startswith("a fault was seen")


def test_what_was_seen_on_a_measure_of_its_own_comes_before_what_the_loads_suggest():
    tired = {"load": flat, "more": lambda u, _: 40.0 * u}
    slid = judged(UNDECIDED, ride(weight_line=sweeps.sliding, **tired), ON_THE_JIG)

    assert "seat bones" in slid.cures[0]
    assert any(one.startswith("rest") for one in slid.cures[1:])


def test_places_that_tests_ask_for_join_the_list_of_the_statistics():
    found = judged(UNDECIDED, confirmed(ride()), ON_THE_JIG)
    lists = [one for one in (*found.reasons, *(v.cure for v in found.validity)) if "mm again" in one]

    assert found.next_ride.again_mm == (80.0, 35.0, 30.0)
    assert len(lists) == 1
    assert "to settle it: ride 72 and 37 mm, and 80, 35 and 30 mm again, about 6 minutes" in lists[0]
    assert found.cures[0] == (
        "clamp the saddle at the same mark, and ride 72 and 37 mm, and 80, 35 and 30 mm again, about 6 minutes"
    )


@pytest.mark.parametrize(
    ("conditions", "changes"),
    [(SIGHTED, {}), (ON_THE_JIG, {"load": flat, "more": lambda u, _: 40.0 * u})],
    ids=["the rider knew", "the rider tired"],
)
def test_where_something_has_to_be_cured_first_no_other_list_is_told(conditions, changes):
    found = judged(UNDECIDED, confirmed(ride(**changes)), conditions)

    assert found.next_ride is None
    assert "ride the sweep again" in found.cures[0]
    assert not any("to settle it" in one or "mm again" in one for one in (*found.reasons, *found.cures))
    assert any("ride the sweep again with 35 and 30 mm twice" in one for one in found.cures)


def test_a_rider_who_knew_the_setback_is_told_so_once():
    found = judged(UNDECIDED, confirmed(ride()), SIGHTED)

    assert found.cures[0] == (
        "clamp the saddle at the same mark, keep the rider from knowing the setback, and ride the sweep again with 35 "
        "and 30 mm twice"
    )
    assert sum("knowing the setback" in one for one in found.cures) == 1


def test_a_cure_that_a_longer_one_has_in_it_is_told_once():
    """Without a power sensor neither the effort nor the weight line is known."""
    told = judged(answer(), without_torque(ride()), ON_THE_JIG)

    assert told.cures == ("link a power sensor and ride the sweep again",)
    assert any(one.endswith(": link a power sensor") for one in told.reasons)


def test_the_terminal_tells_the_order():
    lines = answer_lines(judged(UNDECIDED, confirmed(ride(load=flat, more=lambda u, _: 40.0 * u)), ON_THE_JIG))

    assert [one.partition(":")[0] for one in lines if one.startswith(("to do:", "then:"))][:2] == ["to do", "then"]
    assert next(one for one in lines if one.startswith("to do: ")).startswith("to do: rest, take the zero")


def test_a_named_onset_has_nothing_to_do_first():
    assert judged(answer(), ride(), ON_THE_JIG).cures == ()


def test_the_probability_of_the_loads_with_one_effect_is_that_of_a_normal_density():
    """scipy's density of the same covariance, for each scatter between visits; the sizes of all effects free."""
    of = seen(UNDECIDED, ride(), ON_THE_JIG)
    levels, column = of.levels, shapes(of)[:, :1]
    errors_n = errors_of(levels, of.curve)[0]
    x, away = levels.forward_mm, np.maximum(levels.forward_mm - levels.bend_mm, 0.0)
    torque, minutes = (each - each.mean() for each in (levels.torque_nm, levels.minutes))
    free = [(np.ones_like(x), 100.0), (x - x.mean(), 1.0), (away, 1.5), (minutes, DRIFT_N_PER_MIN), (torque, 1.25)]
    free += [(column[:, 0], 12.0)]
    y = levels.hands_n - levels.hands_n.mean() + 2.25 * torque
    cov = sum(sd**2 * np.outer(each, each) for each, sd in free)

    found = explaining.log_likelihoods(of, errors_n, 12.0 * column)[:, 0]
    densities = [
        multivariate_normal(np.zeros(len(x)), cov + np.diag(errors_n**2 + s**2)).logpdf(y) for s in explaining.BETWEEN_N
    ]

    assert found - 0.5 * len(x) * np.log(2.0 * np.pi) == pytest.approx(densities, abs=1e-6)


def test_steps_without_times_are_explained_by_nothing():
    untimed = [replace(step, t_min=float("nan")) for step in ride()]

    assert explained(seen(UNDECIDED, untimed, ON_THE_JIG)) == Explained()
    assert judged(UNDECIDED, untimed, replace(ON_THE_JIG, ways=())).cures
