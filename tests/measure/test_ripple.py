import math
from pathlib import Path

import numpy as np
import pytest

from daq.measure.ripple import FEWEST_STROKES, ripple
from tests.measure.shapes import shapes

PUBLISHED = Path(__file__).parent.parent / "published"
RATE_HZ, TURN_S = 100.0, 60.0 / 90.0


def ride(strokes=37, *, noise_n=2.0, trend_n_per_s=0.0, spread=0.0, seed=1, second_n=30.0, first_n=5.0):
    """A load with known harmonics: cosines that peak at 40 degrees (first) and 70 degrees (second)."""
    rng = np.random.default_rng(seed)
    t_s = np.arange(round(strokes * TURN_S * RATE_HZ)) / RATE_HZ
    angle = 2.0 * np.pi * t_s / TURN_S
    scatter = 1.0 + spread * rng.standard_normal(strokes + 1)
    load = (
        90.0
        + trend_n_per_s * t_s
        + first_n * np.cos(angle - math.radians(40.0))
        + second_n * scatter[(t_s / TURN_S).astype(int)] * np.cos(2.0 * (angle - math.radians(70.0)))
        + noise_n * rng.standard_normal(len(t_s))
    )
    return t_s, load, np.arange(strokes + 1) * TURN_S


def found(*args, angle_known=True, **settings):
    return ripple(shapes(*ride(*args, **settings), angle_known=angle_known))


def test_without_noise_amplitudes_and_angles_are_exact():
    first, second, third, fourth = found(noise_n=0.0).harmonics

    assert (first.amplitude, first.peak_deg) == pytest.approx((5.0, 40.0), abs=1e-9)
    assert (second.amplitude, second.peak_deg) == pytest.approx((30.0, 70.0), abs=1e-9)
    assert (third.amplitude, fourth.amplitude) == pytest.approx((0.0, 0.0), abs=1e-9)


def test_a_sway_across_the_stroke_does_not_leak_into_the_ripple():
    assert found(noise_n=0.0, trend_n_per_s=20.0).harmonics[0].amplitude == pytest.approx(5.0, abs=1e-9)


def test_the_intervals_hold_what_they_promise():
    rides = [found(seed=seed, noise_n=4.0).harmonics for seed in range(200)]

    amplitude = np.mean([abs(h[1].amplitude - 30.0) < 1.96 * h[1].u_amplitude for h in rides])
    angle = np.mean([abs(h[1].peak_deg - 70.0) < 1.96 * h[1].u_peak_deg for h in rides])

    # 95 % of 200 within four standard errors of a proportion, 6 points; Student's t for 36 gives 94.2 %
    assert 0.88 < amplitude < 0.995
    assert 0.88 < angle < 0.995


def test_a_harmonic_that_is_not_there_is_rarely_called_visible():
    rides = [found(seed=seed, first_n=0.0).harmonics[0].visible for seed in range(200)]

    # promised 5 %; four standard errors above, and a little for 37 strokes
    assert np.mean(rides) < 0.12


def test_evenness_is_the_scatter_from_stroke_to_stroke():
    even, uneven = found(noise_n=0.1), found(noise_n=0.1, spread=0.10, strokes=200)

    assert even.evenness < 0.005
    # 200 strokes tell a standard deviation within 5 %; four times that
    assert uneven.evenness == pytest.approx(0.10, rel=0.2)


def test_roughness_is_what_the_harmonics_leave():
    rough = found(noise_n=4.0).roughness

    # white noise of 4 N, 10 of 66.7 degrees of freedom spent on the fit
    assert rough == pytest.approx(4.0 * math.sqrt(1.0 - 10.0 / 66.7), rel=0.06)


def test_without_a_mark_no_angle_is_claimed():
    unmarked = found(angle_known=False)

    assert all(math.isnan(h.peak_deg) for h in unmarked.harmonics)
    assert unmarked.harmonics[1].amplitude == pytest.approx(30.0, abs=1.0)
    assert any("crank angles are not visible" in limit for limit in unmarked.limits)


def test_without_a_mark_roughness_is_still_that_of_the_dead_centres():
    """Strokes cut 50 degrees before the top; noise of 6 N within 30 degrees of top and bottom, of 1 N elsewhere."""
    rng = np.random.default_rng(2)
    t_s = np.arange(round(60 * TURN_S * RATE_HZ)) / RATE_HZ
    angle_deg = 360.0 * t_s / TURN_S
    dead = np.abs((angle_deg + 90.0) % 180.0 - 90.0) <= 30.0
    load = 90.0 + 30.0 * np.cos(2.0 * np.radians(angle_deg)) + np.where(dead, 6.0, 1.0) * rng.standard_normal(len(t_s))
    tops_s, cuts_s = np.arange(61) * TURN_S, (np.arange(61) - 50.0 / 360.0) * TURN_S

    marked = ripple(shapes(t_s, load, tops_s, angle_known=True))
    unmarked = ripple(shapes(t_s, load, cuts_s, angle_known=False))

    assert marked.roughness > 4.5
    assert unmarked.roughness == pytest.approx(marked.roughness, rel=0.03)


def test_it_is_always_said_that_top_and_bottom_cannot_be_told_apart():
    assert any("top and bottom of the stroke are not visible apart" in limit for limit in found().limits)


def test_few_strokes_or_few_scans_give_no_ripple():
    few = found(strokes=FEWEST_STROKES - 1)
    t_s, load, boundaries_s = ride()
    sparse = ripple(shapes(t_s[::5], load[::5], boundaries_s, angle_known=True))

    assert few.harmonics == sparse.harmonics == ()
    assert any("7 usable strokes; the ripple needs at least 8" in limit for limit in few.limits)
    assert any("0 usable strokes" in limit for limit in sparse.limits)


def test_a_gap_between_marks_is_no_stroke():
    t_s, load, boundaries_s = ride()
    with_gap = np.delete(boundaries_s, [10, 11, 12])

    assert len(shapes(t_s, load, with_gap, angle_known=True).coefficients) == 37 - 4


def test_a_real_strain_gauge_wheel_shows_its_zero_once_a_turn():
    """A wheel rolling unloaded (tests/published/wheel): 97 counts once a turn, by least squares on its angle."""
    angle_deg, *channels = np.loadtxt(PUBLISHED / "wheel" / "unloaded.csv", delimiter=",", skiprows=1, unpack=True)
    turns = np.unwrap(angle_deg, period=360.0) / 360.0
    boundaries = np.arange(math.ceil(turns[0]), math.floor(turns[-1]) + 1.0)
    inside = (turns >= boundaries[0]) & (turns < boundaries[-1])
    columns = np.column_stack(
        [np.ones(inside.sum()), *(f(2.0 * np.pi * k * turns[inside]) for k in (1, 2, 3, 4) for f in (np.cos, np.sin))]
    )
    for counts in channels:
        direct, *_ = np.linalg.lstsq(columns, counts[inside], rcond=None)

        seen = ripple(shapes(turns, counts, boundaries, angle_known=True)).harmonics[0]

        assert math.hypot(direct[1], direct[2]) == pytest.approx(97.0, abs=2.0)
        assert seen.amplitude == pytest.approx(math.hypot(direct[1], direct[2]), rel=0.02)
        peak_deg = math.degrees(math.atan2(direct[2], direct[1])) % 360.0
        assert seen.peak_deg == pytest.approx(peak_deg, abs=2.0)
        assert seen.visible


def test_over_whole_turns_the_real_wheel_shows_one_zero_over_part_turns_many():
    """What is left of an amplitude A by K turns that are not whole is up to A/(2 pi K), doubled at worst."""
    angle_deg, counts, *_ = np.loadtxt(PUBLISHED / "wheel" / "unloaded.csv", delimiter=",", skiprows=1, unpack=True)
    turns = np.unwrap(angle_deg, period=360.0) / 360.0

    def spread(length):
        starts = np.arange(math.ceil(turns[0]), turns[-1] - length, 0.25)
        bins = [np.linspace(a, a + length, 241)[:-1] for a in starts]
        return np.ptp([np.interp(b, turns, counts).mean() for b in bins])

    whole, part = spread(2.0), spread(2.5)

    assert part > 0.8 * 2.0 * 97.0 / (np.pi * 2.5)
    assert whole < 0.25 * part
