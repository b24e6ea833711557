import math

import numpy as np
import pytest

from daq.sweep import panel as panels
from daq.sweep.panel import Entry, panel
from daq.sweep.spreads import DAY_SDS_MM, SWEEP_SDS_MM, judged_priors
from daq.values import Likelihood
from tests.sweep.panels import riders


def test_the_likelihood_of_normal_tests_is_that_of_a_mixed_model_by_other_hands():
    """statsmodels' MixedLM: random intercepts of rider and of day within rider, maximum likelihood.

    The differences of log probability between standard deviations have to agree; the flat prior over a rider's onset
    only adds a constant. statsmodels knows one residual: the errors of sweeps and of placing the bend together.
    """
    import pandas
    import statsmodels.formula.api as formula

    error_sd = 1.5
    rng = np.random.default_rng(11)
    tests, _ = riders(rng, count=12, days=3, sweeps=2, day_sd=4.0, sweep_sd=1.0, error_sd=error_sd)
    at_mm = [one.likelihood.rear_mm - 12.0 * error_sd for one in tests]
    frame = pandas.DataFrame({"mm": at_mm, "rider": [one.rider for one in tests], "day": [one.day for one in tests]})
    frame["own"] = frame["rider"]  # one fixed level a rider: a flat prior over its onset
    groups = frame["rider"] + frame["day"]
    model = formula.mixedlm("mm ~ C(own)", frame, groups=groups)
    places_mm = panels.grid_of(tests)

    def by_others(day_sd, sweep_sd):
        residual = sweep_sd**2 + error_sd**2
        total = 0.0
        for _, each in frame.groupby("rider"):
            design = np.ones((len(each), 1))
            same = (each["day"].to_numpy()[:, None] == each["day"].to_numpy()).astype(float)
            v = residual * np.eye(len(each)) + day_sd**2 * same
            inverse = np.linalg.inv(v)
            gls = np.linalg.inv(design.T @ inverse @ design)
            resid = each["mm"].to_numpy() - (gls @ design.T @ inverse @ each["mm"].to_numpy())
            total += -0.5 * (np.linalg.slogdet(v)[1] - np.linalg.slogdet(gls)[1] + resid @ inverse @ resid)
        return total

    def ours(day_sd, sweep_sd):
        return panels.evidence_at(tests, places_mm, day_sd_mm=day_sd, sweep_sd_mm=sweep_sd)

    fitted = model.fit(reml=True)
    best_day = math.sqrt(float(fitted.cov_re.iloc[0, 0]))
    best_sweep = math.sqrt(max(float(fitted.scale) - error_sd**2, 0.0))
    reference = ours(best_day, best_sweep)
    for day_sd, sweep_sd in ((2.0, 1.0), (4.0, 1.0), (6.0, 2.0), (3.0, 3.0)):
        assert ours(day_sd, sweep_sd) - reference == pytest.approx(
            by_others(day_sd, sweep_sd) - by_others(best_day, best_sweep), abs=0.02
        )
        assert ours(day_sd, sweep_sd) < reference + 0.01, "statsmodels' REML estimate is the most probable one here too"


def test_the_same_tests_in_any_order_give_the_same_bits():
    tests, _ = riders(np.random.default_rng(2), count=5, days=2, sweeps=2, day_sd=4.0, sweep_sd=1.0)
    shuffled = [tests[i] for i in np.random.default_rng(3).permutation(len(tests))]
    first, again = panel(tests), panel(sorted(shuffled, key=lambda one: tests.index(one)))

    assert first.weight.tobytes() == again.weight.tobytes()


def test_without_repeats_nothing_is_learned_of_the_spreads():
    tests, _ = riders(np.random.default_rng(4), count=20, days=1, sweeps=1, day_sd=9.0, sweep_sd=0.0)
    found = panel(tests)

    assert found.repeats == 0
    np.testing.assert_allclose(found.weight, np.outer(judged_priors().day, judged_priors().sweep), atol=1e-6)


@pytest.mark.study
@pytest.mark.parametrize(("day_sd", "sweep_sd"), [(0.0, 0.0), (5.0, 2.0), (10.0, 1.0)])
def test_repeats_teach_the_spreads(day_sd, sweep_sd):
    tests, _ = riders(np.random.default_rng(7), count=40, days=3, sweeps=2, day_sd=day_sd, sweep_sd=sweep_sd)
    found = panel(tests)

    # 80 days beyond the first: an sd is known within 1/sqrt(160) = 8 %, and by 0.7 mm where it is small
    assert found.day_sd_mm == pytest.approx(day_sd, abs=0.7 + 0.2 * day_sd)
    assert found.sweep_sd_mm == pytest.approx(sweep_sd, abs=1.3)


@pytest.mark.study
def test_simulated_calibration_of_the_between_day_sd():
    """Talts et al. 2018, from memory: a truth drawn from the prior has an even rank in what is believed of it. In full,
    and for both standard deviations: tests.benchmarks.panel."""
    rng = np.random.default_rng(20)
    priors = judged_priors(8)
    ranks = []
    for _ in range(50):
        day_sd = float(rng.choice(DAY_SDS_MM, p=priors.day))
        sweep_sd = float(rng.choice(SWEEP_SDS_MM, p=priors.sweep))
        tests, _ = riders(rng, count=4, days=3, sweeps=1, day_sd=day_sd, sweep_sd=sweep_sd)
        believed = panel(tests).weight.sum(axis=1)
        k = int(np.searchsorted(DAY_SDS_MM, day_sd))
        ranks.append(believed[:k].sum() + rng.uniform() * believed[k])
    counts = np.histogram(ranks, bins=5, range=(0.0, 1.0))[0]

    # chi-square with 4 degrees of freedom: 18.5 is exceeded once in a thousand times
    assert float(np.sum((counts - 10.0) ** 2 / 10.0)) < 18.5


def test_light_and_loaded_sweeps_say_where_the_onset_is_not():
    light = Likelihood(80.0, 1.0, (-8.0,) * 51, 0.0, -20.0)
    places_mm = panels.grid_of([Entry("R", "1", light)])
    log_l = panels.on_grid(Entry("R", "1", light), places_mm)

    assert (log_l[places_mm < 30.0] == 0.0).all()
    assert (log_l[places_mm > 80.0] == -20.0).all()
    assert (log_l[(places_mm <= 80.0) & (places_mm >= 30.0)] == -8.0).all()


def test_a_kernel_keeps_all_probability_and_its_spread():
    k = panels.kernel(201, 5.0)
    at = np.arange(201.0)

    np.testing.assert_allclose(k.sum(axis=1), 1.0, atol=1e-12)
    assert k[100] @ (at - 100.0) ** 2 == pytest.approx(25.0, rel=1e-6)


def test_no_test_is_refused():
    with pytest.raises(ValueError, match="at least one sweep"):
        panel([])


@pytest.mark.parametrize("sd_mm", [0.0, 0.5, 4.0, 40.0])
def test_an_error_spreads_places_as_the_matrix_of_its_chances_does(sd_mm):
    p = np.random.default_rng(1).dirichlet(np.ones(150))

    np.testing.assert_allclose(panels.spread_out(p, sd_mm), p @ panels.kernel(150, sd_mm), atol=1e-12)
