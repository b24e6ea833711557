import numpy as np
import pytest

from daq.proof.trueness import expanded_mm, interval_held, too_many_missed, trueness

H5_MEANS = [172, 116, 13, 144, 106, 31, 60, 125, 163, 41]
H5_SDS = [60, 77, 111, 101, 67, 93, 80, 73, 88, 86]
"""JCGM 100:2008 table H.9: a 10 V Zener standard, five readings on each of ten days, microvolts above 10 V."""


def test_the_worked_analysis_of_variance_of_the_gum():
    five = np.array([-2.0, -1.0, 0.0, 1.0, 2.0]) / np.sqrt(2.5)
    readings = np.array(H5_MEANS)[:, None] + np.array(H5_SDS)[:, None] * five

    found = trueness(readings)

    # H.5.2: mean 97, within days 85, between days 43, standard uncertainty of the mean 18
    assert found.bias_mm == pytest.approx(97.0, abs=0.5)
    assert found.repeatability_mm == pytest.approx(85.0, abs=0.5)
    assert found.between_mm == pytest.approx(43.0, abs=1.0)
    assert found.u_mm == pytest.approx(18.0, abs=0.2)
    assert found.dof == 9


def test_what_all_placements_share_is_in_the_uncertainty_though_no_repeat_shows_it():
    found = trueness(np.full((4, 2), 0.3))

    # rectangular: 95 % within 0.95 sqrt(3) standard uncertainties (JCGM 100 4.3.7)
    assert expanded_mm(found, 0.1) == pytest.approx(0.1 * 0.95 * np.sqrt(3.0), rel=1e-6)


def test_intervals_are_held_against_a_truth_that_is_itself_uncertain():
    assert interval_held(60.0, (59.5, 60.4), 60.39, 0.0)
    assert not interval_held(60.0, (59.5, 60.4), 60.45, 0.0)
    assert interval_held(60.0, (59.5, 60.4), 60.45, 0.15)
    assert not interval_held(60.0, (59.9, 62.0), 59.8, 0.05)


def test_more_misses_than_chance_allows_are_too_many():
    # of 8 intervals of 95 %: 2 or more miss in 5.7 %, 3 or more in 0.58 % of all cases (binomial distribution)
    assert not too_many_missed(2, 8)
    assert too_many_missed(3, 8)


def test_one_placement_shows_nothing_between_placements():
    with pytest.raises(ValueError, match="two or more placements of two or more sweeps, got 1 of 4"):
        trueness(np.zeros((1, 4)))
