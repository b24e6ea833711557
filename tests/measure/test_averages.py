import math
from itertools import accumulate
from pathlib import Path

import numpy as np
import pytest

from daq.measure.averages import average

PUBLISHED = Path(__file__).parent.parent / "published"


def wander(n, keep, rng):
    """A stationary first-order autoregression with variance 1."""
    z = rng.standard_normal(n) * math.sqrt(1.0 - keep**2)
    z[0] /= math.sqrt(1.0 - keep**2)
    return np.array(list(accumulate(z, lambda x, kick: keep * x + kick)))


def test_a_standing_person_sways_so_the_naive_standard_error_is_far_too_small():
    """Vertical force of a person standing still, 60 s (tests/published/force_plate): naive 0.0055 N."""
    fz_n = np.loadtxt(PUBLISHED / "force_plate" / "standing_fz.csv", skiprows=1)
    naive_n = fz_n.std(ddof=1) / math.sqrt(len(fz_n))
    batches = [fz_n.reshape(m, -1).mean(axis=1).std(ddof=1) / math.sqrt(m) for m in (15, 20, 30)]

    found = average(fz_n)

    assert naive_n == pytest.approx(0.0055, abs=5e-5)
    assert found.mean == pytest.approx(fz_n.mean())
    # means of 2, 3 and 4 s, an independent estimate good to 13-19 %, give 0.026 to 0.033 N
    assert 0.018 < found.se < max(batches)


@pytest.mark.parametrize(("n", "keep"), [(2000, 0.95), (2000, 0.0), (100, 0.6)])
def test_the_standard_error_is_that_of_repeated_series(n, keep):
    rng = np.random.default_rng(21)
    series = [wander(n, keep, rng) for _ in range(500)]
    found = [average(x) for x in series]

    # sd of the mean of an AR(1): sqrt((1 + r)/(1 - r)/n) for long series; short ones are let err by 15 %
    exact = math.sqrt((1.0 + keep) / (1.0 - keep) / n)
    assert np.mean([a.se for a in found]) == pytest.approx(exact, rel=0.15)
    covered = np.mean([abs(a.mean) < 1.96 * a.se for a in found])
    assert 0.90 < covered < 0.985


def test_too_short_a_series_has_no_standard_error():
    assert math.isnan(average(np.array([1.0, 2.0, 3.0])).se)
    assert math.isnan(average(np.array([])).mean)


def test_missing_values_are_left_out():
    x = np.random.default_rng(1).standard_normal(50)

    assert average(np.concatenate([x, [np.nan] * 5])) == average(x)


def test_a_constant_is_known_exactly():
    assert average(np.full(20, 7.0)).se == 0.0


def test_a_series_smoother_than_its_numbers_are_precise_has_a_standard_error():
    """Each value follows from those before it to the last digit: nothing is left of the autoregression's variance."""
    t = np.linspace(0.0, 1.0, 1000)

    assert 0.0 < average(np.exp(-(((t - 0.5) / 0.05) ** 2)) * np.sin(200.0 * t)).se < 1.0


def test_the_unit_does_not_matter():
    x = wander(300, 0.7, np.random.default_rng(2))

    assert average(1000.0 * x + 5.0).se == pytest.approx(1000.0 * average(x).se)
