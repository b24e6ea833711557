import numpy as np
import pytest

from daq.fit.expectation import duration_s, outlook, smallest_slope, widths
from daq.sweep.hinge import least_squares
from daq.sweep.information import Sway, sd_times_slope
from tests.benchmarks.smallest_rise import Line, answers, named
from tests.benchmarks.sways import PER_S, first_order
from tests.sweep.rides import hinge, step, stroke_ride


def test_the_width_to_expect_is_that_of_the_limit_for_a_bend_in_the_middle():
    """Cramer-Rao by its definition: invert the information of a hinge with level, slope, added slope and bend."""
    n, sigma, added = 11, 2.0, 1.5
    x = np.linspace(-25.0, 25.0, n)
    ahead = (x > 0.0).astype(float)
    jacobian = np.column_stack([np.ones(n), x, np.maximum(x, 0.0), -added * ahead])
    sd_mm = sigma * np.sqrt(np.linalg.inv(jacobian.T @ jacobian)[3, 3])

    (width,) = widths(sd_times_slope(-x, np.zeros(n), sigma), 50.0, n, (added,))

    assert 3.9 * sd_mm < width.width_mm < 2.0 * 3.9 * sd_mm


def test_estimates_of_simulated_sweeps_scatter_less_than_the_width_promises():
    rng = np.random.default_rng(5)
    x = np.linspace(80.0, 30.0, 11)
    truth = 55.0
    found = [
        least_squares(x, 70.0 + 1.5 * np.maximum(truth - x, 0.0) + rng.normal(0.0, 2.0, 11)).breakpoint
        for _ in range(400)
    ]

    (width,) = widths(sd_times_slope(x, np.zeros(11), 2.0), 50.0, 11, (1.5,))

    inside = np.mean(np.abs(np.array(found) - truth) < width.width_mm / 2)
    assert 0.80 < inside <= 1.0


def test_no_width_is_promised_for_a_rise_that_fewer_than_half_of_the_sweeps_find():
    bound_n = sd_times_slope(np.linspace(80.0, 30.0, 11), 0.7 * np.arange(11.0), 2.0)
    smallest = smallest_slope(bound_n, 50.0, 11)

    weak, found = widths(bound_n, 50.0, 11, (0.99 * smallest, 1.01 * smallest))

    assert weak.width_mm is None
    assert 10.0 < found.width_mm < 50.0


def test_a_mean_over_a_longer_dwell_scatters_less():
    """An Ornstein-Uhlenbeck process over T much longer than tau, by its own recursion."""
    rng = np.random.default_rng(2)
    dt_s, tau_s, n = 0.05, 4.0, 2000
    decay = np.exp(-dt_s / tau_s)
    noise = rng.normal(0.0, 5.0 * np.sqrt(1 - decay**2), (400, n))
    load = np.empty((400, n))
    load[:, 0] = rng.normal(0.0, 5.0, 400)
    for i in range(1, n):
        load[:, i] = decay * load[:, i - 1] + noise[:, i]

    assert load.mean(axis=1).std() == pytest.approx(Sway(5.0, tau_s, 0.0).step_sd_n(n * dt_s), rel=0.12)


def test_a_plan_takes_its_steps_times_moving_settling_and_recording():
    assert duration_s(12, 6.0, 25.0) == 12 * (20.0 + 6.0 + 25.0)


def test_the_bound_of_a_plan_is_the_inverse_information_by_hand():
    """11 places, bend in the middle, no drift to speak of: level, slope, added slope and place, by definition."""
    x = np.linspace(80.0, 30.0, 11)
    one_time = np.zeros(11)
    found = sd_times_slope(x, one_time, 2.0)
    by_hand = []
    for share in np.random.default_rng(3).uniform(0.2, 0.8, 4000):
        z = (80.0 - x) - 50.0 * share
        design = np.column_stack([np.ones(11), z, np.maximum(z, 0.0), (z > 0.0).astype(float)])
        by_hand.append(4.0 * np.linalg.inv(design.T @ design)[3, 3])

    # 4,000 draws of a bound that varies by a fifth over the range
    assert found == pytest.approx(np.sqrt(np.median(by_hand)), rel=0.01)


@pytest.mark.parametrize("places", [9, 11, 13, 26])
def test_the_bound_does_not_depend_on_whether_places_lie_on_a_grid(places):
    """A step at the very bend tells nothing of its place: a bound over few bends would depend on where steps are."""
    x, time = np.linspace(80.0, 30.0, places), 0.7 * np.arange(places)

    moved = sd_times_slope(x + 0.3, time, 2.0, ends_mm=(80.0, 30.0))

    assert sd_times_slope(x, time, 2.0) == pytest.approx(moved, rel=0.06)


def test_the_rule_of_thumb_gives_the_known_dwells_in_20_minutes():
    """Check values of sd(onset) times slope, sway 5 N over 4 s, by 4.5 sigma / sqrt n with sigma = 5 sqrt(2 tau / T)
    and 26 s between dwells; the exact mean over the dwell scatters by a factor of sqrt(1 - tau / T) less."""
    known = {15.0: (29, 3.05), 25.0: (23, 2.65), 45.0: (16, 2.37), 90.0: (10, 2.12)}
    for dwell_s, (steps, bound) in known.items():
        assert int(20 * 60 / duration_s(1, 6.0, dwell_s)) == steps
        exact = 4.5 * Sway(5.0, 4.0, 0.0).step_sd_n(dwell_s) / np.sqrt(steps)
        assert exact / np.sqrt(1.0 - 4.0 / dwell_s) == pytest.approx(bound, rel=0.02)


def test_the_error_of_a_dwell_is_that_of_a_simulated_process():
    rng = np.random.default_rng(6)
    load = np.array([first_order(25 * PER_S, 4.0, rng) for _ in range(1500)]) * 5.0

    assert load.mean(axis=1).std() == pytest.approx(Sway(between_n=0.0).step_sd_n(25.0), rel=0.06)


@pytest.mark.study
@pytest.mark.parametrize("line", [Line(120.0, 40.0, "low"), Line(50.0, 20.0, "low"), Line(40.0, 10.0, "high")])
def test_half_of_the_sweeps_find_the_rise_that_the_best_plan_promises(line):
    """0.14, 0.4 and 1.6 N/mm: right is 0.4 to 0.6, and a share of a half of 60 sweeps scatters by 6.5 points. A fixed
    share of the range as the largest sd(onset) would promise 0.09, 0.3 and 1.8, and find 0.1, 0.3 and 0.6."""
    _, said = line.planned()

    assert 0.34 < named(answers(line, said.smallest_n_per_mm, range(60))) < 0.66


def test_the_steadier_a_sweep_the_steeper_a_rise_it_finds_in_terms_of_the_bound():
    coarse, fine = (smallest_slope(bound_n, 50.0, 20) / bound_n for bound_n in (4.0, 0.4))

    assert 1.3 < fine / coarse < 2.0
    assert smallest_slope(1.0, 50.0, 40) < smallest_slope(1.0, 50.0, 20)


def test_the_bound_weighs_each_step_by_its_own_error():
    """A step of error sigma ridden twice tells as much as one of sigma over root 2, but for the drift."""
    x = np.linspace(80.0, 30.0, 11)
    sd_n = np.where(np.arange(11) < 4, 2.0 / np.sqrt(2.0), 2.0)

    twice = sd_times_slope(np.append(x, x[:4]), np.zeros(15), 2.0)

    assert sd_times_slope(x, np.zeros(11), sd_n) == pytest.approx(twice, rel=1e-6)


STEPS = stroke_ride(hinge(52.0))
LEFT_MM = (35.0, 45.0, 55.0, 65.0, 75.0)


def test_the_outlook_names_what_cannot_be_found_and_what_would_help():
    now = outlook(STEPS[:4], (40.0, 30.0, *LEFT_MM), minutes_left=6.0, dwell_s=25.0)

    assert (
        f"a rise below {now.smallest_n_per_mm:.2f} N/mm would be found less than half the time in the 6 minutes left"
        in now.sentence
    )
    longer, again, steadier = now.would_help
    assert longer.startswith("dwells of 50 s, 3 min more, would bring it down to ")
    assert again.startswith("every place once more, 10 min more, would bring it down to ")
    assert "steadier effort" in steadier
    assert outlook(STEPS[:3], LEFT_MM[:1], minutes_left=0.9, dwell_s=25.0) is None, "no number says that"
    assert outlook(STEPS[:3], (78.0, 77.0), minutes_left=1.7, dwell_s=25.0) is None, "no place ahead of most onsets"
    assert outlook(STEPS[:6], (), minutes_left=0.0, dwell_s=25.0) is None
    assert outlook([step(80.0, 80.0)], LEFT_MM, minutes_left=4.2, dwell_s=25.0) is None


def test_the_outlook_is_that_of_the_places_still_planned():
    """Of as many steps, those about the middle tell more of an onset there than the rear end ridden again and again."""
    ahead, behind = (
        outlook(STEPS[:6], left, minutes_left=4.2, dwell_s=25.0) for left in (LEFT_MM, (80.0, 79.0, 78.0, 77.0, 76.0))
    )

    assert ahead.smallest_n_per_mm < 0.9 * behind.smallest_n_per_mm


def test_longer_dwells_of_the_places_left_do_not_make_the_steps_so_far_more_certain():
    one = outlook(STEPS[:10], (55.0,), minutes_left=0.9, dwell_s=25.0)

    assert not any(what.startswith("dwells") for what in one.would_help)


def test_widths_are_told_for_what_mechanics_expects():
    assert [width.slope_n_per_mm for width in widths(1.5, 50.0, 13)] == [0.2, 0.5, 1.0]
