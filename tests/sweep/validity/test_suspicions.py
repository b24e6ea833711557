"""What is told beside a verdict, and what only where there is none: lag, fatigue, swapped plugs, a fault at the end."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from daq.sweep.bend import PRIORS
from daq.sweep.validity.conditions import Fault
from daq.sweep.validity.effects import Effect
from daq.sweep.validity.hands import hands, jumped_mm, left_right
from daq.sweep.validity.hips import hips
from daq.sweep.validity.jig import cells
from daq.sweep.validity.judged import judged
from daq.sweep.validity.passes import LEADS, OTHERWISE, SLOW, _why, passes
from daq.sweep.validity.reach import reach
from daq.sweep.validity.repeats import sham, visits
from daq.sweep.validity.seen import seen
from daq.sweep.validity.slow import fatigue, lag
from daq.values import Result, Verdict
from tests.sweep.validity import sweeps
from tests.sweep.validity.sweeps import ON_THE_JIG, OUT_AND_BACK, SIGHTED, answer, sweep

UNDECIDED = replace(
    answer(), verdict=Verdict.UNDECIDED, onset_mm=None, interval_95_mm=None, p_onset=0.5, p_light=0.2, p_loaded=0.3
)


def of(test, found=None, conditions=ON_THE_JIG, seed=5, **ride):
    return test(seen(answer() if found is None else found, sweep(np.random.default_rng(seed), **ride), conditions))


@pytest.mark.parametrize(
    ("p_lag", "result", "forbids"),
    [
        (((0.0, 0.95), (75.0, 0.03), (150.0, 0.02)), Result.PASSED, False),
        (((0.0, 0.1), (35.0, 0.85), (75.0, 0.05)), Result.FAILED, False),
        (((0.0, 0.01), (75.0, 0.1), (150.0, 0.89)), Result.FAILED, True),
        ((), Result.NOT_MADE, False),
    ],
)
def test_a_time_constant_of_more_than_two_moves_forbids_a_shorter_one_is_told(p_lag, result, forbids):
    """A step of the made-up sweep takes 51 s from move to move."""
    found = of(lag, replace(answer(), p_lag=p_lag))

    assert (found.result, found.forbids) == (result, forbids)
    assert ("settle 60 s" in found.cure) == (result is Result.FAILED)


def test_an_onset_of_a_slow_rider_needs_a_higher_probability():
    slow = ((0.0, 0.1), (35.0, 0.85), (75.0, 0.05))

    doubtful, sure = (of(lag, replace(answer(), p_lag=slow, p_onset=p)) for p in (0.93, 0.97))

    assert doubtful.forbids
    assert "needs 95 %, and has 93 %" in doubtful.means
    assert not sure.forbids
    assert not of(lag, replace(answer(), p_lag=((0.0, 0.9), (35.0, 0.1)), p_onset=0.93)).forbids


def test_a_lag_with_twice_the_odds_there_were_is_told_where_there_is_no_verdict():
    odds = 2.0 * PRIORS.lag / (1.0 - PRIORS.lag)
    p_slow = odds / (1.0 + odds)
    twice, less = (((0.0, 1.0 - p), (35.0, p)) for p in (p_slow + 0.005, p_slow - 0.005))

    assert of(lag, replace(answer(), p_lag=twice)).result is Result.PASSED
    suspected = of(lag, replace(UNDECIDED, p_lag=twice))
    assert (suspected.result, suspected.forbids) == (Result.FAILED, False)
    assert of(lag, replace(UNDECIDED, p_lag=less)).result is Result.PASSED


def test_of_hands_that_stay_light_nothing_tells_how_fast_they_follow():
    """Of flat riders the posterior of a time constant is little more than its prior, and sways above a half."""
    light = replace(answer(), verdict=Verdict.LIGHT, onset_mm=None, interval_95_mm=None, p_onset=0.02, p_light=0.97)
    long = ((0.0, 0.1), (75.0, 0.3), (150.0, 0.6))

    found = of(lag, replace(light, p_lag=long), load=sweeps.flat)

    assert (found.result, found.forbids) == (Result.NOT_MADE, False)
    assert of(lag, replace(answer(), p_lag=long)).forbids


def test_the_slopes_of_a_slow_rider_are_told_as_too_small_where_they_are_told():
    slow = replace(answer(), p_lag=((0.0, 0.1), (35.0, 0.85), (75.0, 0.05)))
    withheld = judged(slow, sweep(np.random.default_rng(5), weight_line=sweeps.sliding), ON_THE_JIG)

    assert "the slopes are told as the steps show them, smaller than" in of(lag, slow).means
    assert any("adapts slowly" in one for one in withheld.reasons)
    assert not any("slopes are told" in one for one in withheld.reasons)


def test_hips_that_could_not_be_measured_say_what_is_missing():
    steps = [replace(step, weight_line_mm=float("nan")) for step in sweep(np.random.default_rng(5))]
    unpowered = [replace(step, crank_torque_nm=float("nan")) for step in steps]
    found = [
        hips(seen(answer(), given, conditions))
        for given, conditions in (
            (steps, replace(ON_THE_JIG, saddle_cells=((2, -60.0),))),
            (steps, replace(ON_THE_JIG, mass_kg=None)),
            (unpowered, ON_THE_JIG),
        )
    ]

    cures = [one.cure for one in found]
    assert cures[1:] == ["enter the rider's mass", "link a power sensor"]
    assert cures[0].endswith("the seat bones stay there, or ride on a saddle with nose and rear cells")


def test_hips_known_in_part_lack_a_power_sensor_only_where_it_was_silent():
    missing = {2, 4, 6}

    def partly(**lost):
        return [replace(one, **lost) if i in missing else one for i, one in enumerate(sweep(np.random.default_rng(5)))]

    nan = float("nan")
    both, line = partly(weight_line_mm=nan, crank_torque_nm=nan), partly(weight_line_mm=nan)
    found = [hips(seen(answer(), steps, ON_THE_JIG)) for steps in (both, line)]

    assert [one.result for one in found] == [Result.NOT_MADE] * 2
    assert (found[0].cure == "link a power sensor", "power sensor" in found[1].cure) == (True, False)


def test_a_bar_that_nobody_confirmed_is_told_where_there_is_no_verdict():
    kept = replace(ON_THE_JIG, protocol="reach kept")

    assert of(reach, conditions=kept).result is Result.NOT_MADE
    suspected = of(reach, UNDECIDED, kept)
    assert (suspected.result, suspected.forbids) == (Result.FAILED, False)
    assert "confirm it at each position" in suspected.cure
    assert of(reach, UNDECIDED, replace(kept, protocol="bar fixed")).result is Result.NOT_MADE
    assert of(reach, replace(UNDECIDED, p_light=0.95), kept).result is Result.NOT_MADE


SHAPES = {
    "late": lambda u, _: 25.0 * np.maximum(2.0 * u - 1.0, 0.0),
    "steady": lambda u, _: 25.0 * u,
    "soon": lambda u, _: 25.0 * (1.0 - np.exp(-3.0 * u)) / (1.0 - np.exp(-3.0)),
}


@pytest.mark.parametrize("shape", SHAPES)
def test_a_rider_who_tires_is_told_to_rest_in_whatever_shape_and_keeps_the_verdict(shape):
    found = of(fatigue, load=sweeps.flat, more=SHAPES[shape])

    assert found.result is Result.FAILED
    assert not found.forbids
    assert found.value == pytest.approx(25.0, abs=6.0)
    assert found.cure.startswith("rest")


def test_a_clean_rider_is_not_called_tired():
    failed = [of(fatigue, seed=seed).result is Result.FAILED for seed in range(60)]

    # Size 0.5 % and a floor of 8 N: more than 2 of 60 would come by chance in 1 of 300 such studies.
    assert sum(failed) <= 2


def test_passes_that_two_things_explain_as_well_name_both_cures():
    told = [of(passes, lag_s=60.0, sway_n=1.5, seed=seed) for seed in range(20)]
    failed = [one for one in told if one.result is Result.FAILED]

    assert len(failed) >= 10
    assert sum("60 s" in one.cure for one in failed) >= 0.9 * len(failed)
    slow = replace(answer(), p_lag=((0.0, 0.05), (75.0, 0.95)))
    again = [of(passes, slow, lag_s=60.0, sway_n=1.5, seed=seed) for seed in range(20)]
    assert all("60 s" in one.cure for one in again if one.result is Result.FAILED)


def test_a_rider_who_sits_otherwise_on_the_way_back_is_not_told_to_settle_longer():
    told = [of(passes, load=sweeps.flat, more=lambda _, i: 15.0 * (i >= 6), seed=seed) for seed in range(20)]
    failed = [one for one in told if one.result is Result.FAILED]

    assert len(failed) >= 10
    assert not any("60 s" in one.cure for one in failed)


def test_a_suspicion_forbids_nothing_that_a_finding_would():
    shifted = {"more": lambda _, i: 9.0 * (i >= 5), "load": sweeps.flat}
    found = [of(hands, UNDECIDED, seed=seed, **shifted) for seed in range(30)]
    decided = [of(hands, seed=seed, **shifted) for seed in range(30)]

    told, before = (sum(one.result is Result.FAILED for one in each) for each in (found, decided))
    assert told > before
    assert sum(one.forbids for one in found) == before


def test_a_hand_that_moves_is_found_against_the_other_whatever_the_torque():
    found = of(left_right, load=sweeps.flat, left=lambda i: 6.0 * (i >= 6))

    assert found.result is Result.FAILED
    assert found.value == pytest.approx(12.0, abs=4.0)


def test_a_hand_cell_that_loses_gain_looks_like_a_hand_that_moved_so_both_are_named():
    """A fifth of what the right hand's cell reads is gone from the middle of the sweep on: hand load and its split
    change alike, and either test may be the one that sees it."""
    steps = sweep(np.random.default_rng(5), load=lambda _: 100.0, sway_n=1.0)
    lost = [
        replace(step, strokes=tuple(replace(k, hands_n=k.hands_n - 0.2 * k.cells_n[1], cells_n=(
            k.cells_n[0], 0.8 * k.cells_n[1], *k.cells_n[2:])) for k in step.strokes))
        if i >= 5 else step
        for i, step in enumerate(steps)
    ]  # fmt: skip
    lost = [replace(step, hand_load_n=float(np.mean([k.hands_n for k in step.strokes]))) for step in lost]

    for test in (hands, left_right):
        found = test(seen(answer(), lost, ON_THE_JIG))
        assert found.result is Result.FAILED
        assert "lost gain" in found.means
        assert "mark where the hands rest" in found.cure
        assert "check the hands' cells with a known weight" in found.cure


def test_plugs_that_are_swapped_are_the_cure_where_no_rider_can_be_it():
    alone = of(left_right, left=lambda i: 30.0)
    moved = of(hips, weight_line=lambda s: 90.0 - 2.2 * s)

    assert "plugs" in alone.cure
    assert alone.forbids
    assert "plugs" in moved.cure
    assert moved.forbids
    assert "seat bones" in of(hips, weight_line=lambda s: 90.0 - 0.3 * s).cure


def test_hips_that_came_forward_on_the_saddle_may_be_swapped_plugs_and_hips_that_stayed_are_not():
    """A rider could move so far, and so a straight rise of 0.5 N/mm makes the line move with two plugs swapped: 1.0 to
    2.3 (`Line` "swapped plugs" of the confounds benchmark, at that slope)."""
    forward, behind = (of(hips, weight_line=lambda s, slope=slope: 90.0 - slope * s) for slope in (1.35, 0.3))

    assert forward.forbids
    assert "seat bones" in forward.cure
    assert "plugs" in forward.cure
    assert "another one's load" in forward.means
    assert "plugs" not in behind.cure


@pytest.mark.parametrize("slope", [0.86, 0.3, 2.2])
def test_hips_say_what_their_weight_line_takes_of_the_hands_however_they_did(slope):
    told = replace(ON_THE_JIG, hands_along="the hands' pull is taken as 0")
    ridden = {"weight_line": lambda s: 90.0 - slope * s}

    assert of(hips, **ridden, conditions=told).means == of(hips, **ridden).means + "; the hands' pull is taken as 0"


def test_a_fault_at_the_position_that_came_to_no_end_is_told_and_spoils_no_step():
    steps = sweep(np.random.default_rng(5))
    last_s = steps[-1].strokes[-1].end_s
    faults = (Fault("hands_right", "the converter stands at its end", last_s + 25.0),)

    found = cells(seen(answer(), steps, replace(ON_THE_JIG, faults=faults)))

    assert (found.result, found.forbids) == (Result.FAILED, False)
    assert "stands at its end" in found.means
    assert "fix '" in found.cure
    at_the_move = (replace(faults[0], t_s=last_s + 1.0),)
    assert cells(seen(answer(), steps, replace(ON_THE_JIG, faults=at_the_move))).result is Result.PASSED


def test_a_rise_of_a_rider_who_knew_the_setback_is_suspected_where_there_is_no_verdict():
    assert of(sham, answer(), SIGHTED).result is Result.NOT_MADE
    suspected = of(sham, UNDECIDED, SIGHTED)
    assert (suspected.result, suspected.forbids) == (Result.FAILED, False)
    assert "knowing the setback" in suspected.cure
    assert of(sham, UNDECIDED).result is Result.NOT_MADE


def test_a_drift_hides_a_rise_from_a_sweep_that_went_one_way_so_the_expectation_is_told_there():
    light = replace(UNDECIDED, p_onset=0.04, p_light=0.95, p_loaded=0.01)
    under_way = replace(SIGHTED, finished=False)

    assert of(sham, light, SIGHTED, order=sweeps.ONE_WAY).result is Result.FAILED
    assert of(sham, light, SIGHTED).result is Result.NOT_MADE
    assert of(sham, light, under_way, order=sweeps.ONE_WAY).result is Result.NOT_MADE


def test_scatter_that_strokes_do_not_explain_is_told_where_there_is_no_verdict():
    scattered = of(visits, replace(UNDECIDED, between_n=3.2))

    assert "3.2 N" in scattered.means
    assert not scattered.forbids
    assert "knowing" not in scattered.means + scattered.cure
    sighted = of(visits, replace(UNDECIDED, between_n=3.2), SIGHTED)
    assert "who knew the setback" in sighted.means
    assert "keep the rider from knowing the setback" in sighted.cure
    assert "scatter" not in of(visits, replace(UNDECIDED, between_n=1.0)).means
    assert of(visits, replace(answer(), between_n=3.2)).result is Result.NOT_MADE


def test_a_rise_that_stands_on_single_visits_asks_for_them_again_where_there_is_no_verdict():
    near_the_front = replace(UNDECIDED, least_squares_mm=33.0)
    once = of(visits, near_the_front)

    assert (once.result, once.forbids) == (Result.FAILED, False)
    assert "ride 35 and 30 mm again" in once.cure
    first_again = (*OUT_AND_BACK, 80.0)
    assert "ride 35 and 30 mm again" in of(visits, near_the_front, order=first_again).cure
    assert of(visits, near_the_front, order=(*OUT_AND_BACK, 30.0)).result is Result.PASSED
    unfinished = replace(ON_THE_JIG, finished=False)
    level = replace(UNDECIDED, p_onset=0.03, p_light=0.95, p_loaded=0.02)
    for found in (of(visits, near_the_front, unfinished), of(visits, level)):
        assert found.result is Result.NOT_MADE


def test_the_interval_of_a_shift_between_the_hands_is_that_of_a_regression_by_other_hands():
    """statsmodels' OLS of left less right on level, setback and a shift from the step that fits best."""
    from statsmodels.regression.linear_model import OLS

    steps = sweep(np.random.default_rng(5), left=lambda i: 6.0 * (i >= 6))
    found = left_right(seen(answer(), steps, ON_THE_JIG))
    apart_n = np.array([np.mean([one.cells_n[0] - one.cells_n[1] for one in step.strokes]) for step in steps])
    at_mm = np.array([step.setback_mm for step in steps])

    fits = [
        OLS(apart_n, np.column_stack([np.ones(len(steps)), at_mm, np.arange(len(steps)) >= start])).fit()
        for start in range(2, len(steps) - 1)
    ]

    best = max(fits, key=lambda one: abs(one.tvalues[2]))
    assert found.value == pytest.approx(best.params[2])
    assert found.interval_95 == pytest.approx(best.conf_int()[2])


def test_the_interval_of_what_visits_scatter_by_is_that_of_a_standard_deviation():
    """Of 5 differences: s sqrt(5 / chi2) at 2.5 and 97.5 %, by scipy's distribution."""
    found = of(visits, order=(*sweeps.OUT_AND_BACK, *sweeps.OUT_AND_BACK[:5]))
    low, high = found.interval_95

    assert (low / found.value, high / found.value) == pytest.approx(
        np.sqrt(5 / stats.chi2(5).ppf([0.975, 0.025])), abs=1e-3
    )


def test_hands_that_jump_in_the_middle_of_a_step_are_told_with_its_setback():
    steps = sweep(np.random.default_rng(5), load=sweeps.flat)
    middle = len(steps[4].strokes) // 2
    strokes = tuple(replace(one, hands_n=one.hands_n + 40.0 * (k >= middle)) for k, one in enumerate(steps[4].strokes))

    assert jumped_mm(steps) == []
    assert jumped_mm([*steps[:4], replace(steps[4], strokes=strokes), *steps[5:]]) == [steps[4].setback_mm]


def test_a_posterior_that_knows_no_shift_of_the_rider_does_not_alone_name_the_slow_one():
    """A rider who shifted by the same everywhere looks slow to the posterior: it has no other word for it."""
    shifted, followed = (Effect(value, 1.0, math.inf) for value in (12.0, 8.0))

    assert _why(shifted, followed, 0.95)[0] not in (SLOW, OTHERWISE)
    assert _why(shifted, followed, 0.5)[0] == OTHERWISE
    assert _why(followed, shifted, 0.5)[0] == SLOW
    assert _why(Effect(8.0, 1.0, math.inf), Effect(8.1, 1.0, math.inf), 0.95)[0] == SLOW
    assert _why(Effect(8.0, 1.0, math.inf), Effect(8.1, 1.0, math.inf), 0.85)[0] not in (SLOW, OTHERWISE)


def test_where_no_lag_can_be_told_from_the_steps_it_explains_nothing():
    beyond, within = (_why(Effect(math.sqrt(LEADS + more), 1.0, math.inf), None, 0.0)[0] for more in (0.5, -0.5))

    assert beyond == OTHERWISE
    assert within != OTHERWISE
    assert OTHERWISE in within
