"""The model of hinge-posterior/3 and /4 against that of /2 where they must agree, and against numerical integration."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import multivariate_normal, norm

from daq.sweep import noise
from daq.sweep.belief import WidePriors, belief
from daq.sweep.bend import BEFORE, PRIORS, bend_before, bend_of
from daq.sweep.chances import class_chances, curve, foremost_mm, likelihood, loaded_at
from daq.sweep.evidence import gathered
from daq.sweep.mixture import Mixture
from daq.sweep.onset import onset
from daq.sweep.posterior import Priors
from tests.sweep.rides import hinge, ride, step, stroke_ride

AS_BEFORE = WidePriors(
    **{name: getattr(BEFORE, name) for name in Priors.__dataclass_fields__},
    between_n=0.0, lag=0.0, lightest=np.inf, nodes_mm=0.5,
)  # fmt: skip


def exactly_placed(steps):
    return [replace(each, u_setback_mm=0.0) for each in steps]


@pytest.mark.parametrize(
    "steps",
    [
        ride(hinge(52.0), noise_n=1.5, seed=1),
        ride(hinge(52.0, added=0.7), noise_n=1.5, seed=2, se_n=1.5),
        ride(lambda s: 80.0, noise_n=1.5, seed=3, se_n=2.0),
        exactly_placed(stroke_ride(hinge(52.0), seed=4)),
    ],
    ids=["no errors", "errors given", "flat", "strokes and saddle"],
)
def test_without_lag_between_error_and_placement_it_is_the_model_before(steps):
    evidence = gathered(steps, noise.levels)

    now, then = belief(evidence, AS_BEFORE), bend_before(evidence)

    assert now.p == pytest.approx(then.p, rel=1e-6, abs=1e-9)
    assert now.mean == pytest.approx(then.mean, abs=1e-9)
    assert now.interval() == pytest.approx(then.interval(), abs=1e-8)
    assert now.p_gradual == pytest.approx(then.p_gradual, abs=1e-9)
    assert now.p_shifted == pytest.approx(then.p_shifted, abs=1e-9)
    raw = class_chances(now.classes, AS_BEFORE)
    assert now.p_onset + now.p_light + now.p_loaded == pytest.approx(1.0)
    assert now.p_light == pytest.approx(then.p_light, abs=0.01 * raw[0] + 1e-9)  # the frontmost gap's last half cell


X = np.array([-20.0, -8.0, 3.0, 12.0, 20.0, -2.0])
Y = np.array([0.3, -0.8, 3.0, 11.0, 19.0, 0.5])


def test_models_in_a_row_share_a_set_of_columns():
    rng = np.random.default_rng(2)
    design, variance = rng.normal(size=(6, 6, 2)), rng.uniform(1.0, 4.0, (6, 6))
    seen = Mixture(Y, variance, design, n=4, shifted=0.2, shift_n=9.0)
    columns = rng.normal(size=(2, 6, 5))

    shared = seen.with_rise(columns, (0.7, 1.4))

    assert np.array_equal(shared, seen.with_rise(np.repeat(columns, 3, axis=0), (0.7, 1.4)))
    with pytest.raises(ValueError, match="got 4 for 6"):
        seen.with_rise(rng.normal(size=(4, 6, 5)), (0.7,))


def test_the_mixture_is_a_normal_density_integrated_over_the_rise():
    """Two models of four readings and two trends; the density by scipy, the rise by quadrature."""
    rng = np.random.default_rng(1)
    design = rng.normal(size=(2, 6, 2)) * np.array([30.0, 3.0])
    variance = rng.uniform(1.0, 4.0, (2, 6))
    column = np.repeat(np.maximum(X - 1.0, 0.0)[None, :, None], 2, axis=0)
    seen = Mixture(Y, variance, design, n=4, shifted=0.2, shift_n=9.0)

    found = seen.with_rise(column, (0.7,))[..., 0]

    for k in range(2):
        for j in (None, 2):
            covariance = np.diag(variance[k]) + design[k] @ design[k].T
            if j is not None:
                covariance[j, j] += 81.0
            normal = multivariate_normal(np.zeros(6), covariance)

            def integrand(d, k=k, normal=normal):
                return 2.0 * d**2 / 0.49 * norm.pdf(d, 0.0, 0.7) * normal.pdf(Y - d * column[k, :, 0])

            prior = 0.8 if j is None else 0.2 / 4
            by_hand = prior * (2.0 * np.pi) ** 3 * quad(integrand, 0.0, 9.0, epsabs=0.0, epsrel=1e-9, limit=400)[0]
            assert np.exp(found[k, 4 if j is None else j]) == pytest.approx(by_hand, rel=1e-6, abs=0.0)


def test_only_what_holds_weight_is_carried_and_nothing_is_lost():
    evidence = gathered(stroke_ride(hinge(52.0, added=0.8), seed=5))

    every, few = belief(evidence, replace(PRIORS, lightest=np.inf)), bend_of(evidence)

    assert few.mean == pytest.approx(every.mean, abs=2e-3)
    assert few.interval() == pytest.approx(every.interval(), abs=1e-2)
    assert few.p_onset == pytest.approx(every.p_onset, abs=1e-4)


def test_a_lag_seen_in_the_passes_is_found_and_undone():
    """Posture follows with 40 s, moves every 42 s: no noise to speak of, so the bend has to come out where it is."""
    felt, steps = 0.0, []
    for each in ride(hinge(52.0, level_n=0.0)):
        kept = np.exp(-42.0 / 40.0)
        half = np.exp(-21.0 / 40.0)
        there, felt = (
            each.hand_load_n + half * (felt - each.hand_load_n),
            each.hand_load_n + kept * (felt - each.hand_load_n),
        )
        steps.append(step(each.setback_mm, 80.0 + there, each.t_min, se_n=0.7))

    slow, arrived = bend_of(gathered(steps)), belief(gathered(steps), replace(PRIORS, lag=0.0))

    assert 1.0 - slow.p_lag[0] > 0.99
    assert -slow.mean == pytest.approx(52.0, abs=1.0)
    assert slow.sd < arrived.sd


def test_a_ridden_step_is_placed_within_a_millimetre_and_a_line_of_a_table_exactly():
    assert gathered(stroke_ride(hinge(52.0))).u_setback_mm == pytest.approx(1.0)
    assert gathered(ride(hinge(52.0))).u_setback_mm == pytest.approx(0.0)


def test_a_saddle_less_well_placed_widens_the_interval_where_hand_load_rises():
    steps = ride(hinge(52.0), noise_n=0.5, seed=6, se_n=0.5)

    sds = [bend_of(gathered([replace(s, u_setback_mm=u) for s in steps])).sd for u in (0.0, 1.0, 3.0)]

    assert sds[0] < sds[1] < sds[2]
    flat = ride(lambda s: 80.0, noise_n=0.5, seed=6, se_n=0.5)
    light = [bend_of(gathered([replace(s, u_setback_mm=u) for s in flat])).p_light for u in (0.0, 3.0)]
    assert light[1] == pytest.approx(light[0], abs=0.02)


def test_visits_that_disagree_raise_the_between_step_error():
    steps = ride(hinge(52.0), noise_n=0.3, seed=7, se_n=0.7)
    again = [step(80.0, 80.0 + e, 9.0 + i, se_n=0.7) for i, e in enumerate((-4.0, 4.0))]

    assert bend_of(gathered([*steps, *again])).between_n > bend_of(gathered(steps)).between_n + 0.5


STEPS = ride(hinge(52.0, added=0.9), noise_n=2.0, seed=8, se_n=2.0)


def test_prior_times_likelihood_is_the_answer():
    answer, found = onset(STEPS), bend_of(gathered(STEPS))
    told = answer.likelihood

    values = np.exp(told.log_l)
    weight = np.ones(len(values))
    weight[[0, -1]] = 0.5
    bend = float(values @ weight / weight.sum())
    parts = np.array(
        [PRIORS.onset * bend, PRIORS.light * np.exp(told.log_light), PRIORS.loaded * np.exp(told.log_loaded)]
    )
    p_bend, p_light, p_loaded = parts / parts.sum()
    place = values * weight / (values @ weight)
    setback_mm = told.rear_mm - told.step_mm * np.arange(len(values))
    gap = [place[setback_mm > 75.0].sum() + 0.5 * place[setback_mm == 75.0].sum(),
           place[setback_mm < 35.0].sum() + 0.5 * place[setback_mm == 35.0].sum()]  # fmt: skip

    assert max(told.log_l) == pytest.approx(0.0, abs=1e-12)
    assert p_light / p_loaded == pytest.approx(np.exp(told.log_light - told.log_loaded))  # even odds beforehand
    assert p_bend / p_light == pytest.approx(bend / np.exp(told.log_light))
    assert (p_bend, p_light, p_loaded) == pytest.approx(class_chances(found.classes, PRIORS), rel=1e-9)
    assert answer.p_onset == pytest.approx(p_bend * (1.0 - sum(gap)), abs=1e-3)
    assert answer.p_light == pytest.approx(p_light + p_bend * gap[1], abs=1e-3)
    assert answer.p_loaded == pytest.approx(p_loaded + p_bend * gap[0], abs=1e-3)
    assert answer.p_onset > 0.5
    assert setback_mm @ place == pytest.approx(-found.mean, abs=0.05)
    for edge, share in zip(-found.c[[105, 305]], found.cumulative[[105, 305]], strict=True):
        assert place[setback_mm > edge].sum() == pytest.approx(share, abs=1e-9)


@pytest.mark.parametrize("load", [lambda s: 80.0, lambda s: 80.0 + 0.9 * (80.0 - s), hinge(52.0, added=0.3)])
def test_a_sweep_without_an_onset_has_its_likelihood_and_its_chances_too(load):
    answer = onset(ride(load, noise_n=2.0, seed=9))

    assert answer.onset_mm is None
    assert max(*answer.likelihood.log_l, answer.likelihood.log_light, answer.likelihood.log_loaded) == 0.0
    assert len(answer.likelihood.log_l) == 51
    assert answer.p_loaded_at[0][0] == 80.0
    assert answer.p_loaded_at[-1][0] == 30.0


def test_the_chance_grows_coming_forward_from_loaded_to_not_light():
    found = bend_of(gathered(STEPS))
    chances = [p for _, p in curve(found, found.classes, PRIORS)]
    _, p_light, p_loaded = class_chances(found.classes, PRIORS)

    assert np.all(np.diff(chances) >= 0.0)
    assert chances[0] == pytest.approx(p_loaded)
    assert chances[-1] == pytest.approx(1.0 - p_light)


@pytest.mark.parametrize("chance", [0.02, 0.05, 0.2])
def test_the_suggestion_is_the_foremost_place_with_that_chance(chance):
    found = bend_of(gathered(STEPS))

    at_mm = foremost_mm(found, found.classes, PRIORS, chance)

    assert loaded_at(found, found.classes, PRIORS, np.array([at_mm]))[0] == pytest.approx(chance, abs=1e-3)
    answer = onset(STEPS, loaded_chance=chance, step_off_mm=0.0)
    assert answer.suggested_setback_mm == pytest.approx(min(at_mm, 80.0))
    assert onset(STEPS, loaded_chance=chance, step_off_mm=20.0).suggested_setback_mm == pytest.approx(
        min(max(at_mm, answer.onset_mm + 20.0), 80.0)
    )


def test_no_setback_is_suggested_where_none_ridden_is_safe_enough():
    found = bend_of(gathered(STEPS))
    _, _, p_loaded = class_chances(found.classes, PRIORS)

    answer = onset(STEPS, loaded_chance=0.5 * p_loaded)

    assert answer.onset_mm is not None
    assert answer.suggested_setback_mm is None
    assert "no setback is suggested: even at 80 mm" in answer.reasons[-1]


@pytest.mark.parametrize("chance", [0.0, 1.0, float("nan")])
def test_a_chance_that_is_no_probability_is_refused(chance):
    with pytest.raises(ValueError, match="loaded_chance: expected a probability"):
        onset(STEPS, loaded_chance=chance)


def test_the_likelihood_of_the_earlier_model_is_not_made_up():
    found = bend_before(gathered(STEPS, noise.levels))

    assert found.classes is None
    assert likelihood(bend_of(gathered(STEPS)), bend_of(gathered(STEPS)).classes).step_mm == pytest.approx(1.0)
