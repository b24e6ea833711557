from dataclasses import replace

import numpy as np
import pytest

from daq.measure.calibration import Calibration, Term, TiltTare, apply, expanded, from_dict, to_dict
from daq.measure.calibration.cell import calibrated, with_assembly
from daq.measure.calibration.fit import FitError
from daq.measure.calibration.series import CellError, Creep
from tests.measure.calibration.simulated_cell import USED_N, Cell, conditions, covered, drawn_cell, one_use, series_of

IDEAL = Cell(
    per_n=8554.0, zero=41_211.0, square=0.0, cube=0.0, hysteresis=0.0, creep_30=0.0, per_k=0.0, series_sd=0.0,
    noise_n=0.0, zero_drift_n=0.0,
)  # fmt: skip

LEAST_HELD, MOST_HELD = 0.90, 0.993
"""Of 300 calibrations at one load. By the binomial distribution, where 95 % hold fewer than 270 are seen once in 8,000
(one load of eleven: once in 700 cases), where 93 % hold, the least that is promised, 2 times in 100, where 88 % hold 84
times in 100; 298 or more where 95 % hold are seen 3 times in 100,000. 2,000 calibrations each, against 93 to 97 %:
tests/benchmarks/calibration_coverage.py."""


def readings(cell=IDEAL, seed=1):
    return series_of(cell, np.random.default_rng(seed))


def made(cell=IDEAL, order=2, seed=1, creep=0.0):
    return calibrated("bar", readings(cell, seed), order, conditions(), Creep(creep))


def term(cell, name):
    return next(term for term in cell.channel.uncertainty.terms if term.name == name)


@pytest.mark.study
@pytest.mark.parametrize(("order", "series"), [(1, 5), (2, 5), (2, 2)])
def test_the_truth_lies_within_the_stated_uncertainty_in_95_of_100_calibrations(order, series):
    rng = np.random.default_rng(20250304)

    errors = np.array([one_use(rng, order, series) for _ in range(1000)])

    # 1000 hits at 95 % scatter by 0.7 %; the goal of 93 to 97 % is three of these wide on either side
    held = np.mean(np.abs(errors[:, 0]) <= errors[:, 1])
    assert 0.93 <= held <= (0.97 if series > 2 else 0.99), "two series know their spread badly: wider, not narrower"
    # not bought with a bias
    assert abs(errors[:, 0].mean()) < 4.0 * errors[:, 0].std() / np.sqrt(1000)


@pytest.mark.study
@pytest.mark.parametrize(
    ("alone", "series"),
    [("noise", 5), ("mounting", 2), ("mounting", 4), ("hysteresis", 2), ("hysteresis", 5), ("zero", 3), ("creep", 2),
     ("temperature", 3), ("weights", 2), ("gravity", 5), ("all", 4)],
)  # fmt: skip
def test_each_error_alone_and_all_together_are_covered_at_every_load(alone, series):
    held = covered(alone, series, 300)

    assert held.min() >= LEAST_HELD, dict(zip(USED_N, held, strict=True))
    assert held.max() <= MOST_HELD, dict(zip(USED_N, held, strict=True))


@pytest.mark.study
@pytest.mark.parametrize("harder", [0.5, 2.0, 10.0])
def test_two_series_are_never_too_hopeful_about_the_scatter_of_mounting(harder):
    """One degree of freedom among known terms, where a single effective number of them held as little as 88 %."""
    assert covered("mounting", 2, 300, harder=harder).min() >= LEAST_HELD


@pytest.mark.study
def test_a_bend_that_the_curve_cannot_follow_is_always_inside():
    """It is the same at every use, so an interval that left a part of it out would be wrong there for good."""
    assert covered("bend", 3, 100).min() >= 0.97


def test_an_ideal_cell_comes_back_with_its_sensitivity():
    channel = made().channel
    calibration = Calibration("one", "2025-01-01T00:00:00Z", (channel,))

    loads = apply(calibration, [[round(41_211 + 8554 * load)] for load in (0.0, 100.0, 499.0)])[:, 0]

    # only the error of the weights is left: 1.6e-4 of class M2, 1e-4 of gravity (here one draw), buoyancy
    assert loads == pytest.approx([0.0, 100.0, 499.0], rel=5e-4, abs=1e-4)
    assert channel.span == (0.0, 500.0)
    assert channel.zero_counts == 41_211.0


def test_figures_of_a_cell_are_what_was_put_in():
    cell = replace(IDEAL, square=4e-4, cube=1e-4, hysteresis=4e-4, noise_n=0.01, zero_drift_n=0.05)
    found = [made(cell, order=1, seed=seed).figures for seed in range(60)]

    def typical(name):
        return float(np.sqrt(np.mean([getattr(figures, name) ** 2 for figures in found])))

    # half of 0.2 N x sqrt(8/15), the mean square of 4x(1-x), less 1 of 8 levels; drift moves it a little
    assert typical("hysteresis_n") == pytest.approx(0.1 * np.sqrt(8 / 15), rel=0.15)
    # the drift grows along the series, the last zero has all of it, plus hysteresis none
    assert typical("zero_return_n") == pytest.approx(np.hypot(0.05, 0.01 * np.sqrt(2)), rel=0.1)
    # a parabola of 4e-4 x 500 N x x(1-x) about the best line through zero, and the cube
    assert 0.02 < typical("linearity_n") < 0.06
    assert made(cell, order=2).figures.linearity_n < 0.5 * typical("linearity_n")
    assert found[0].levels == 8
    assert found[0].series == 3


def test_the_spread_of_the_series_is_that_of_the_sensitivity():
    cell = replace(IDEAL, series_sd=1e-4, noise_n=0.005)

    found = np.sqrt(np.mean([made(cell, seed=seed).figures.sensitivity_relative ** 2 for seed in range(100)]))

    # spreads of 3 series, 100 times: known to 1 / sqrt(2 x 2 x 100) = 5 %; three of these
    assert found == pytest.approx(1e-4, rel=0.15)


def test_scatter_alone_is_repeatability_of_reading_and_zero():
    cell = replace(IDEAL, noise_n=0.02)

    found = np.sqrt(np.mean([made(cell, seed=seed).figures.repeatability_n ** 2 for seed in range(40)]))

    # readings scatter by 0.02 N, the zero they count from too; 40 times 28 degrees of freedom know it to 2 %
    assert found == pytest.approx(0.02 * np.sqrt(2), rel=0.1)
    # 17 readings a series; what is common to each, and zero, drift and slope of two series beside the first
    assert made(cell).figures.repeatability_dof == 3 * 17 - 17 - 2 * 3


def test_creep_and_temperature_grow_with_the_load_and_weights_are_shared():
    cell = made(replace(IDEAL, noise_n=0.01), creep=-3e-4)

    # it ends near its full size, so its errors lie mostly at the ends: arc sine (JCGM 101 6.4.6)
    assert term(cell, "creep").at(400.0) == pytest.approx(0.12 / np.sqrt(2))
    assert term(cell, "temperature").at(400.0) == pytest.approx(2e-5 * 5 * 400 / np.sqrt(3))
    assert [name.name for name in cell.channel.uncertainty.terms if name.shared] == [
        "reference weights", "gravity", "air buoyancy",
    ]  # fmt: skip


def test_a_cell_that_shrinks_its_counts_under_load_is_calibrated_too():
    upside_down = replace(IDEAL, per_n=-8554.0, square=3e-4, noise_n=0.01)

    channel = made(upside_down).channel

    value = apply(Calibration("one", "2025-01-01T00:00:00Z", (channel,)), [[41_211 - 8554 * 100]])[0, 0]
    assert value == pytest.approx(100.0, abs=0.15)
    assert expanded(channel.uncertainty, 100.0).expanded_n > 0.0


def test_on_the_jig_cross_talk_and_tilt_join_the_budget():
    tare = TiltTare(0.4, 0.0, 18.0, (0.0, 3.0), 0.03)
    channel = made(replace(IDEAL, noise_n=0.01)).channel

    assembled = with_assembly(channel, [Term("cross-talk", absolute_n=0.05, dof=8.0)], tare=tare)

    names = [term.name for term in assembled.uncertainty.terms]
    assert names[-2:] == ["cross-talk", "tilt tare"]
    assert assembled.tare == tare
    assert expanded(assembled.uncertainty, 0.0).standard_n == pytest.approx(
        np.hypot(expanded(channel.uncertainty, 0.0).standard_n, np.hypot(0.05, 0.03))
    )


def test_a_made_calibration_survives_its_file():
    cells = [calibrated(name, readings(drawn_cell(np.random.default_rng(i)), i), 2, conditions(), Creep(1e-4))
             for i, name in enumerate(("bar", "nose"))]  # fmt: skip
    calibration = Calibration("made", "2025-01-01T00:00:00Z", tuple(cell.channel for cell in cells))

    assert from_dict(to_dict(calibration)) == calibration


@pytest.mark.parametrize(
    ("change", "error", "sentence"),
    [
        (lambda r: replace(r, counts=r.counts[:5]), CellError, "counts, series and direction of 51 loads"),
        (lambda r: replace(r, counts=r.counts * np.nan), CellError, "expected finite loads and counts"),
        (lambda r: replace(r, series=r.series * 0), CellError, "at least 2 series, .* got 1"),
        (lambda r: replace(r, load_n=r.load_n + 1.0), CellError, "series 0: expected a reading at zero load first"),
        (lambda r: replace(r, falling=r.falling & False), CellError, "loads on the way down too"),
        (lambda r: replace(r, load_n=r.load_n + 7.0 * r.series * (r.load_n > 0)), FitError, "too few repeats"),
    ],
)
def test_readings_that_make_no_calibration_say_what_is_missing(change, error, sentence):
    with pytest.raises(error, match=sentence):
        calibrated("bar", change(readings(replace(IDEAL, noise_n=0.01))), 2, conditions(), Creep(0.0))


def test_another_gain_changes_the_counts_and_nothing_else():
    taken = readings(replace(IDEAL, noise_n=0.02, hysteresis=3e-4, square=3e-4))
    doubled = replace(taken, counts=2.0 * taken.counts)

    one, two = (calibrated("bar", r, 2, conditions(), Creep(1e-4)) for r in (taken, doubled))

    assert two.fit.coefficients == pytest.approx(one.fit.coefficients / [2.0, 4.0], rel=1e-9)
    for load_n in (10.0, 400.0):
        assert expanded(two.channel.uncertainty, load_n).expanded_n == pytest.approx(
            expanded(one.channel.uncertainty, load_n).expanded_n, rel=1e-5
        )
