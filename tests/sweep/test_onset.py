"""What is claimed of a sweep, and what is not."""

import math
from dataclasses import replace

import numpy as np
import pytest

from daq.sweep import noise
from daq.sweep.bend import bend_before
from daq.sweep.evidence import gathered
from daq.sweep.onset import (
    FALLS_COUNT,
    LEAST_SQUARES,
    METHOD,
    METHODS,
    STROKES_ONLY,
    TooFewPositions,
    fitted_line,
    onset,
    rise_n_per_mm,
)
from daq.values import NAN, Verdict
from tests.benchmarks.onset_rides import rise
from tests.sweep.rides import hinge, ride, step, stroke_ride

CLEAR = ride(hinge(52.0), noise_n=1.0, seed=1)


def level(setback_mm):
    return 80.0


@pytest.mark.parametrize(
    "steps", [ride(level, se_n=0.001), stroke_ride(level, sd_n=0.0, scatter_n=0.001)], ids=["a table", "strokes"]
)
def test_no_load_is_known_better_than_a_twentieth_of_a_newton(steps):
    assert gathered(steps).se_n.tolist() == [0.05] * 11


def straight(setback_mm):
    return 80.0 + 1.2 * (80.0 - setback_mm)


def test_a_clear_bend_is_an_onset_with_its_interval():
    answer = onset(CLEAR)

    assert answer.verdict is Verdict.ONSET
    low, high = answer.interval_95_mm
    assert low < 52.0 < high
    assert low < answer.onset_mm < high
    assert answer.method == METHOD


def test_level_hands_are_light_throughout_and_carry_no_number():
    answer = onset(ride(level, noise_n=0.5, seed=2))

    assert answer.verdict is Verdict.LIGHT
    assert (answer.onset_mm, answer.interval_95_mm, answer.suggested_setback_mm) == (None, None, None)
    assert math.isnan(answer.slope_n_per_mm)


def test_hands_that_rise_all_along_are_loaded_throughout():
    answer = onset(ride(straight, noise_n=0.5, seed=3))

    assert answer.verdict is Verdict.LOADED
    assert answer.onset_mm is None
    assert "sweep further back or check reach" in answer.reasons[0]


def test_a_fall_coming_forward_is_never_an_onset():
    answer = onset(ride(lambda s: 80.0 - 1.5 * max(52.0 - s, 0.0), noise_n=1.0, seed=4))

    assert answer.verdict is not Verdict.ONSET


def test_a_noisy_small_rise_is_undecided_and_says_what_would_settle_it():
    answer = onset(ride(hinge(52.0, added=0.3), noise_n=3.0, seed=5))

    assert answer.verdict is Verdict.UNDECIDED
    assert answer.onset_mm is None
    assert "ride" in answer.reasons[1]


def test_a_sweep_most_likely_without_a_bend_is_asked_to_be_ridden_again_whole():
    answer = onset(ride(level, noise_n=3.0, seed=10))

    assert answer.verdict is Verdict.UNDECIDED
    assert "most likely hand load does not rise at all" in answer.reasons[0]
    assert "ride all positions once more, out and back, about 8 minutes" in answer.reasons[1]


def test_where_nothing_is_likely_all_three_shapes_are_told():
    found = [onset(ride(hinge(52.0, added=0.4), noise_n=3.0, seed=seed)) for seed in range(12)]
    torn = [each for each in found if max(each.p_onset, each.p_light, each.p_loaded) < 0.5]

    assert torn
    assert all("do not tell whether hand load begins to rise within the sweep (" in each.reasons[0] for each in torn)


def test_positions_asked_for_again_are_as_far_from_the_ends_as_makes_a_difference():
    """Half the gap of 5 mm; nearer the end itself does."""
    told = 0
    for seed in range(20):
        asked = onset(ride(hinge(52.0, added=0.6), noise_n=4.0, seed=seed)).reasons[1]
        if "mm again" in asked:
            told += 1
            new, _, again = asked.removeprefix("to settle it: ride ").split(" mm again")[0].rpartition(" mm, and ")
            ridden = [float(mm) for mm in again.replace(" and ", ", ").split(", ")]
            inside = [float(mm) for mm in new.split(" and ") if mm]
            assert {80.0, 30.0} <= set(ridden) <= set(range(30, 85, 5))
            assert not set(inside) & set(range(30, 85, 5))
            assert all(32.0 <= mm <= 78.0 for mm in inside)
    assert told >= 5


def test_a_fall_that_levels_off_bends_but_is_no_onset():
    steps = ride(lambda s: 80.0 + 1.0 * max(s - 55.0, 0.0), noise_n=0.5, seed=13)

    answer = onset(steps)

    assert answer.verdict is Verdict.UNDECIDED
    assert answer.onset_mm is None
    assert "falls" in answer.reasons[0]
    assert "does not rise from there on" in answer.reasons[0]
    assert onset(steps, method=FALLS_COUNT).verdict is Verdict.ONSET


@pytest.mark.parametrize(("onset_mm", "asked"), [(33.0, "25 and 20 mm"), (77.0, "sweep further back")])
def test_a_bend_in_an_outermost_gap_is_not_named_but_riding_beyond_it_is_asked(onset_mm, asked):
    answer = onset(ride(hinge(onset_mm, added=2.0), noise_n=0.5, seed=6))

    assert answer.onset_mm is None
    assert asked in " ".join(answer.reasons)


def test_the_saddle_goes_behind_the_onset_by_the_step_off():
    near, far = onset(CLEAR, step_off_mm=2.0), onset(CLEAR, step_off_mm=6.0)

    assert near.suggested_setback_mm == near.onset_mm + 2.0
    assert far.suggested_setback_mm == far.onset_mm + 6.0


def test_the_suggestion_never_lies_behind_what_was_ridden():
    assert onset(CLEAR, step_off_mm=60.0).suggested_setback_mm == 80.0


def test_the_same_steps_give_the_same_bits():
    steps = stroke_ride(hinge(52.0), seed=7)

    assert onset(steps) == onset(list(steps))


def test_moving_every_setback_moves_the_onset_with_it():
    moved = [replace(each, setback_mm=each.setback_mm + 100.0) for each in CLEAR]

    assert onset(moved).onset_mm == pytest.approx(onset(CLEAR).onset_mm + 100.0, abs=1e-6)


def test_adding_weight_to_every_step_changes_no_onset():
    heavier = [replace(each, hand_load_n=each.hand_load_n + 40.0) for each in CLEAR]

    assert onset(heavier).onset_mm == pytest.approx(onset(CLEAR).onset_mm, abs=1e-6)


def test_drift_ridden_out_and_back_does_not_move_the_onset():
    drifting = [replace(each, hand_load_n=each.hand_load_n + 1.0 * each.t_min) for each in CLEAR]

    assert onset(drifting).onset_mm == pytest.approx(onset(CLEAR).onset_mm, abs=1.0)


def test_a_power_wander_is_taken_out_by_the_torque():
    rng = np.random.default_rng(8)
    wander = rng.normal(0.0, 1.0, 11)
    steps = [
        replace(each, hand_load_n=each.hand_load_n - 2.2 * q, crank_torque_nm=21.0 + q)
        for each, q in zip(CLEAR, wander, strict=True)
    ]
    blind = [replace(each, crank_torque_nm=NAN) for each in steps]

    seen, unseen = onset(steps), onset(blind)

    assert seen.onset_mm == pytest.approx(onset(CLEAR).onset_mm, abs=1.5)
    assert np.ptp(seen.interval_95_mm) < np.ptp(unseen.interval_95_mm or (30.0, 80.0))


@pytest.mark.parametrize("t_min", [NAN, 3.0])
def test_steps_without_times_or_all_at_one_time_are_said_to_hide_a_drift(t_min):
    steps = [replace(each, t_min=t_min) for each in CLEAR]

    assert any("steps' times are not known" in reason for reason in onset(steps).reasons)
    assert not any("times are not known" in reason for reason in onset(CLEAR).reasons)


@pytest.mark.parametrize("step_off_mm", [NAN, math.inf, -1.0])
def test_a_step_off_that_is_no_length_is_refused(step_off_mm):
    with pytest.raises(ValueError, match="step_off_mm: expected 0 or more"):
        onset(CLEAR, step_off_mm=step_off_mm)


def test_torque_known_on_every_step_counts_though_single_strokes_have_none():
    """A power sensor that was late for some strokes: the steps' own means are there, and are shown."""
    whole = stroke_ride(hinge(52.0), seed=3)
    gaps = [replace(each, strokes=(replace(each.strokes[0], crank_torque_nm=NAN), *each.strokes[1:])) for each in whole]

    assert gathered(gaps).covariates.shape == gathered(whole).covariates.shape == (11, 2)


def test_torque_that_goes_along_with_setback_is_said():
    steps = [replace(each, crank_torque_nm=21.0 + 0.02 * each.setback_mm) for each in CLEAR]

    assert any("went along with setback" in reason for reason in onset(steps).reasons)


def test_a_bad_step_is_named_and_hardly_counts():
    bad = [replace(each, se_n=1.0) for each in CLEAR]
    bad[3] = replace(bad[3], hand_load_n=bad[3].hand_load_n + 14.0)

    answer = onset(bad)

    assert answer.onset_mm == pytest.approx(onset(CLEAR).onset_mm, abs=2.0)
    assert any("step 4" in reason and "ride it again" in reason for reason in answer.reasons)


def test_a_wide_curve_is_flagged_gradual_and_a_corner_is_not():
    curved = onset(ride(lambda s: 80.0 + 0.02 * (80.0 - s) ** 2, noise_n=0.7, seed=9))
    corner = onset(CLEAR)

    assert (curved.verdict, curved.gradual) == (Verdict.ONSET, True)
    assert (corner.verdict, corner.gradual) == (Verdict.ONSET, False)
    assert any("the rise is gradual" in reason for reason in curved.reasons)
    assert not any("gradual" in reason for reason in corner.reasons)


def test_a_gradual_rise_does_not_blame_the_step_at_its_middle():
    """A parabola over 30 mm between two lines: at the corner of the hinge, which it has not, a step stands off."""
    steps = ride(lambda s: 80.0 + 2.0 * float(rise(np.array(55.0 - s), 30.0)), noise_n=0.3, seed=1, se_n=0.3)

    answer = onset(steps)

    assert answer.gradual
    assert not any("ride it again" in reason for reason in answer.reasons)
    answer = onset(steps, method=STROKES_ONLY)
    assert answer.gradual
    assert bend_before(gathered(steps, noise.levels)).p_shifted.max() > 0.5
    assert not any("ride it again" in reason for reason in answer.reasons)


def test_a_bad_step_is_named_where_nothing_is_decided_too():
    bad = ride(hinge(52.0, added=0.5), noise_n=1.5, seed=14)
    bad[3] = replace(bad[3], hand_load_n=bad[3].hand_load_n + 14.0)

    answer = onset(bad)

    assert answer.verdict is Verdict.UNDECIDED
    assert any("step 4" in reason and "hardly counts" in reason for reason in answer.reasons)
    assert bad[3].setback_mm in answer.next_ride.again_mm


def test_least_squares_is_the_plain_hinge():
    answer = onset(CLEAR)

    assert answer.least_squares_mm == pytest.approx(52.0, abs=3.0)
    assert answer.rss > 0.0


def test_the_other_method_agrees_on_a_clear_bend():
    plain = onset(CLEAR, method=LEAST_SQUARES)

    assert plain.verdict is Verdict.ONSET
    assert plain.onset_mm == pytest.approx(onset(CLEAR).onset_mm, abs=2.0)
    assert plain.interval_95_mm[0] < 52.0 < plain.interval_95_mm[1]
    assert plain.method == LEAST_SQUARES


@pytest.mark.parametrize("load", [level, straight])
def test_the_other_method_claims_nothing_of_straight_lines(load):
    assert onset(ride(load, noise_n=0.5, seed=12), method=LEAST_SQUARES).verdict is Verdict.UNDECIDED


def test_an_unknown_method_is_refused():
    with pytest.raises(ValueError, match="expected one of hinge-posterior/5"):
        onset(CLEAR, method="guess/1")


def test_four_positions_are_too_few_for_any_method():
    steps = [step(s, 80.0) for s in (80, 70, 60, 50, 50, 60)]

    for method in METHODS:
        with pytest.raises(TooFewPositions, match="got 4"):
            onset(steps, method=method)


def test_five_positions_give_an_answer():
    assert onset(ride(hinge(52.0), noise_n=1.0, n=5)).verdict in Verdict


def test_a_saddle_put_back_almost_where_it_was_is_no_position_of_its_own():
    near_the_ends = [*CLEAR, step(79.6, 80.0, 8.0), step(30.3, 113.0, 8.7)]

    assert gathered(near_the_ends).positions_mm.tolist() == [*gathered(CLEAR).positions_mm[:-1].tolist(), 30.3]


def test_errors_no_cell_can_have_do_not_break_the_arithmetic():
    sure = [replace(each, se_n=1e-6) for each in ride(hinge(52.0))]

    assert onset(sure).onset_mm == pytest.approx(52.0, abs=0.1)


def test_a_load_that_is_no_number_is_named():
    steps = [*CLEAR[:2], replace(CLEAR[2], hand_load_n=NAN), *CLEAR[3:]]

    with pytest.raises(ValueError, match="step 3: hand_load_n"):
        onset(steps)


def test_exact_steps_still_give_numbers():
    answer = onset(ride(hinge(52.0)))

    assert answer.onset_mm == pytest.approx(52.0, abs=0.5)


def test_the_line_has_its_corner_at_the_onset():
    answer = onset(CLEAR)

    setback_mm, hand_load_n = fitted_line(CLEAR, answer)

    assert setback_mm == [30.0, answer.onset_mm, 80.0]
    assert hand_load_n[1] == pytest.approx(answer.light_load_n)
    assert hand_load_n[0] > hand_load_n[1] + 25.0


def test_without_an_onset_the_line_is_straight():
    steps = ride(level, noise_n=0.5, seed=2)

    assert fitted_line(steps, onset(steps))[0] == [30.0, 80.0]


def test_the_rise_is_the_one_the_reasons_tell_and_the_line_shows():
    """A rider whose hands grow lighter before they take more: what is added at the onset is more than the rise."""
    steps = ride(lambda mm: hinge(52.0)(mm) + 0.3 * (mm - 55.0), noise_n=0.5, seed=1)
    answer = onset(steps)
    (front_mm, onset_mm, _), (front_n, onset_n, _) = fitted_line(steps, answer)

    assert answer.verdict is Verdict.ONSET
    assert answer.reasons[0].endswith(f"rises by {rise_n_per_mm(steps, answer):.2f} N per mm forward of it")
    assert rise_n_per_mm(steps, answer) == pytest.approx((front_n - onset_n) / (onset_mm - front_mm))
    assert answer.slope_n_per_mm > rise_n_per_mm(steps, answer) + 0.2


def test_without_an_onset_nothing_rises_from_it():
    steps = ride(level, noise_n=0.5, seed=2)

    assert math.isnan(rise_n_per_mm(steps, onset(steps)))


def test_a_line_that_passes_the_loads_by_is_not_drawn():
    """Six steps forward and stopped: with a drift taken out, what is left falls where the loads rise."""
    at_mm, loads_n = (85.0, 75.0, 65.0, 55.0, 45.0, 35.0), (92.8, 90.0, 90.9, 91.9, 106.4, 120.0)
    t_min = (6.67, 7.27, 9.87, 10.66, 13.5, 15.94)
    steps = [step(mm, n, t) for mm, n, t in zip(at_mm, loads_n, t_min, strict=True)]
    unnamed = replace(onset(steps), onset_mm=None)

    assert fitted_line(steps, unnamed) == ([], [])
    assert len(fitted_line(steps, onset(steps))[0]) == 3


def test_with_strokes_the_answer_uses_their_errors_and_the_saddle():
    evidence = gathered(stroke_ride(hinge(52.0), saddle=lambda hands, rng: 400.0 + rng.normal(size=len(hands))))

    assert evidence.se_n is not None
    assert evidence.witness is not None
