"""The posterior of the bend under the model of `hinge-posterior/3` to `/5`: that of `posterior.py`, for a rider who
may follow slowly, whose visits scatter more than the strokes, on a saddle that is not exactly where it was set.

    step's mean = mean over the dwell of [a + b x + d (x - c)+, relaxed with tau] + covariates g + one shift + noise
    noise variance = (factor se)^2 + between^2 + (slope where it stands)^2 u_x^2

Given tau and the noise it is linear in all but c, so everything else is again integrated in closed form. tau and the
noise are sums over small grids; if strokes and the times of the moves are known, the trends within the dwells are n
further readings, which inform tau alone. Placement enters by the slope: what an error u of the setback does to hand
load is the slope times u, forward of the bend by b + d, behind it by b. The slopes and the probability that a step lies
forward come from a first pass without placement error.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from daq.sweep.chances import class_chances
from daq.sweep.errors import Errors, error_grid
from daq.sweep.evidence import StepEvidence
from daq.sweep.lag import operators
from daq.sweep.line import line_through
from daq.sweep.marginal import log_sum
from daq.sweep.mixture import Mixture
from daq.sweep.places import places
from daq.sweep.posterior import Classes, Posterior, Priors, finer, free_scales
from daq.sweep.witness import log_places
from daq.values import Array, Ints

FIRST_PASS_MM = 2.0
"""Spacing of the breakpoints in the first pass, which only estimates slopes."""
HEARD = 1e-4
"""For a time constant less probable than this, the witness is not used."""
VISIT_SHARE = 0.5
"""The witness's own error from visit to visit, as a fraction of the hands' between-step error. Judgement: a rider who
sits down differently shifts weight in another way than sway does, and nobody has measured how far."""


@dataclass(frozen=True, slots=True)
class WidePriors(Priors):
    """The priors, including those of rider, saddle and posture."""

    slopes_behind: tuple[float, float] = (0.12, 0.4)
    """Narrower than in version 2: legs that carry the trunk leave hand load level, and a rider whose load also rises
    behind the bend is loaded throughout."""
    added_slopes: tuple[float, float] = (0.4, 1.2)
    """Around 0.6 and 1.7 N/mm: a sweep of 10 minutes cannot tell a smaller rise from none, and rather says none."""
    onset: float = 1 / 3
    light: float = 1 / 3
    loaded: float = 1 / 3
    between_n: float = 2.0
    between_tail: float = 1.5
    """Scale, N, and degrees of freedom of the half Student's t of the between-step error; a scale of 0: none."""
    lags_s: tuple[float, ...] = (0.0, 15.0, 35.0, 75.0, 150.0)
    lag: float = 0.15
    """Probability that the rider follows slowly, shared evenly by the time constants above 0."""
    brought_n: float = 5.0
    """Standard deviation of what the rider brings to the first step from the place before."""
    trend_n: float = 4.0
    """Standard deviation of a change over the dwell that is the same on every step: sitting down again."""
    lightest: float = 10.0
    """At each breakpoint a hypothesis below exp(-10), 5e-5, of the best is left out of the sum: the ends of an interval
    move by less than 0.03 mm, and a third of the terms is gone."""
    nodes_mm: float = 1.0
    """Farthest distance of the breakpoints at which everything is summed."""


@dataclass(frozen=True, eq=False, slots=True)
class _Model:
    """The sweep about its middle, as r rows: n means, and n trends where there are any."""

    x: Array
    y: Array
    n: int
    columns: Array
    """(L, r, p) columns of everything linear but setback, for each time constant."""
    follow: Array
    """(L, r, n) what each time constant makes of loads at the n places."""
    log_lag: Array
    errors: Errors
    trend_variance: Array
    """(r - n,)"""
    priors: WidePriors


def belief(evidence: StepEvidence, priors: WidePriors) -> Posterior:
    """The posterior over breakpoints between the outermost positions, in forward millimetres."""
    middle = 0.5 * float(evidence.forward_mm.min() + evidence.forward_mm.max())
    model = _modelled(evidence, middle, priors)
    c = np.linspace(model.x.min(), model.x.max(), max(8, math.ceil(np.ptp(model.x) / priors.nodes_mm)) + 1)
    bent, straight = _placement(evidence, model, middle)
    sloped = _seen(model, bent, priors.slopes_behind)
    bends = _bends(model, c, sloped)
    said = _witnessed(evidence, model, c, bends)
    bends = replace(bends, logs=bends.logs + said[bends.lag, bends.place])
    level, flat = _seen(model, None, (0.0,)), _seen(model, None, (priors.light_slope,))
    loaded = _one(model, _seen(model, straight, (0.0,)), model.x, priors.added_slopes)
    falling = _one(model, level, -model.x, priors.slopes_behind[1:])
    light = np.logaddexp(
        log_sum(flat.evidence + _log_prior(model)[:, None]) + math.log(1.0 - priors.falling),
        falling + math.log(priors.falling),
    )
    parabola = (model.x - model.x.min()) ** 2 / (2.0 * np.ptp(model.x))
    curved = _one(model, sloped, parabola, priors.added_slopes, len(priors.slopes_behind))
    found = _gathered(places(model.x), c, bends, (float(light), loaded, curved), model)
    return replace(found, c=found.c + middle)


def _modelled(evidence: StepEvidence, middle: float, priors: WidePriors) -> _Model:
    n, trend = len(evidence.hands_n), evidence.trend
    y = evidence.hands_n - evidence.covariates @ evidence.covariate_means
    y = y - y.mean()
    still = np.column_stack([np.full(n, priors.level_n), evidence.covariates * evidence.covariate_sds])
    if trend is not None:
        of_change = np.column_stack([np.zeros(n), trend.covariates * evidence.covariate_sds])
        still = np.concatenate([still, of_change])
        still = np.column_stack([still, np.repeat([0.0, priors.trend_n], n)])
    rows, log_lag = _lags(evidence, priors)
    brought = priors.brought_n * rows[..., n:]
    return _Model(
        x=evidence.forward_mm - middle,
        y=y if trend is None else np.concatenate([y, trend.change_n]),
        n=n,
        columns=np.concatenate([np.broadcast_to(still, (len(rows), *still.shape)), brought], axis=-1),
        follow=rows[..., :n],
        log_lag=log_lag,
        errors=_errors(evidence, priors),
        trend_variance=np.empty(0) if trend is None else trend.se_n**2,
        priors=priors,
    )


def _lags(evidence: StepEvidence, priors: WidePriors) -> tuple[Array, Array]:
    """(L, r, n + 1) what each time constant makes of the places' loads, and the log prior of each."""
    n, times = len(evidence.hands_n), evidence.dwells
    slow = [lag_s for lag_s in priors.lags_s if lag_s > 0.0] if times is not None and priors.lag > 0.0 else []
    share = np.array([1.0 - priors.lag, *[priors.lag / len(slow)] * len(slow)]) if slow else np.ones(1)
    mean, change = np.eye(n, n + 1)[None], np.zeros((1, n, n + 1))
    if times is not None and slow:
        of_mean, of_change = operators(times, np.array(slow))
        mean, change = np.concatenate([mean, of_mean]), np.concatenate([change, of_change])
    return mean if evidence.trend is None else np.concatenate([mean, change], axis=1), np.log(share)


def _errors(evidence: StepEvidence, priors: WidePriors) -> Errors:
    if evidence.se_n is None:
        size, log_prior = free_scales(priors)
        variance = np.repeat((size**2)[:, None], len(evidence.hands_n), axis=1)
        return Errors(variance, size, np.zeros_like(size), size, log_prior)
    return error_grid(
        evidence.se_n, scale_spread=priors.scale_spread, between_n=priors.between_n, between_tail=priors.between_tail
    )


def _log_prior(model: _Model) -> Array:
    """Of each time constant and error, (L * K,)."""
    return (model.log_lag[:, None] + model.errors.log_prior).ravel()


def _seen(model: _Model, placed: Array | None, slopes: tuple[float, ...]) -> Mixture:
    """The readings for each time constant, error and prior standard deviation of a slope; 0: no slope.

    placed: (n,) variance of the means that placement adds, N^2.
    """
    level = model.errors.variance if placed is None else model.errors.variance + placed
    trend = np.outer(model.errors.factor**2, model.trend_variance)
    variance = np.concatenate([level, trend], axis=1)
    slope = (model.follow @ model.x)[:, None, :, None] * np.array(slopes)[:, None, None]
    columns = np.broadcast_to(model.columns[:, None], (len(slope), len(slopes), *model.columns.shape[1:]))
    design = np.concatenate([columns, slope], axis=-1)[:, None]
    models = (len(slope), len(variance), len(slopes))
    return Mixture(
        model.y,
        np.broadcast_to(variance[:, None], (*models, variance.shape[1])).reshape(-1, variance.shape[1]),
        np.broadcast_to(design, (*models, *design.shape[3:])).reshape(-1, *design.shape[3:]),
        n=model.n,
        shifted=model.priors.shifted,
        shift_n=model.priors.shift_n,
    )


def _one(model: _Model, seen: Mixture, shape: Array, widths: tuple[float, ...], kinds: int = 1) -> float:
    """log probability of one shape of the rise (n,), added up over everything."""
    log_prior = np.repeat(_log_prior(model), kinds) - math.log(kinds)
    column = model.follow @ shape
    return log_sum(seen.with_rise(column[..., None], widths)[..., 0] + log_prior[:, None])


@dataclass(frozen=True, eq=False, slots=True)
class _Bends:
    """The terms of a bend that hold weight: the log probability of each and its hypothesis, (R,)."""

    logs: Array
    place: Ints
    """Which breakpoint."""
    error: Ints
    lag: Ints
    reading: Ints


def _bends(model: _Model, c: Array, seen: Mixture) -> _Bends:
    """Every breakpoint c, (C,), with everything else."""
    kinds, errors = len(model.priors.slopes_behind), len(model.errors.size)
    rise = model.follow @ np.maximum(model.x[:, None] - c, 0.0)
    log_prior = np.repeat(_log_prior(model), kinds) - math.log(kinds)
    which, reading, place, logs = seen.heaviest(rise, model.priors.added_slopes, log_prior, model.priors.lightest)
    lag, rest = np.divmod(which, errors * kinds)
    return _Bends(logs, place, rest // kinds, lag, reading)


def _placement(evidence: StepEvidence, model: _Model, middle: float) -> tuple[Array | None, Array | None]:
    """(n,) variances of the means through placement, N^2, under a bend and under a straight rise; None: none."""
    if not evidence.u_setback_mm.any():
        return None, None
    plain = replace(model, follow=model.follow[:1], columns=model.columns[:1], log_lag=np.zeros(1))
    c = np.linspace(model.x.min(), model.x.max(), max(8, math.ceil(np.ptp(model.x) / FIRST_PASS_MM)) + 1)
    bends = _bends(plain, c, _seen(plain, None, model.priors.slopes_behind))
    p = np.bincount(bends.place, np.exp(bends.logs - bends.logs.max()), len(c))
    p = p / p.sum()
    forward = (p * (model.x[:, None] > c)).sum(axis=1)
    bent = line_through(evidence, -float(p @ c) - middle)
    ahead = bent.slope_n_per_mm + max(bent.added_n_per_mm, 0.0)
    slope = line_through(evidence, None).slope_n_per_mm
    u2 = evidence.u_setback_mm**2
    return u2 * (forward * ahead**2 + (1.0 - forward) * bent.slope_n_per_mm**2), u2 * slope**2


def _witnessed(evidence: StepEvidence, model: _Model, c: Array, bends: _Bends) -> Array:
    """(L, C) the saddle's log likelihood of each breakpoint, for each time constant that matters."""
    said = np.zeros((len(model.follow), len(c)))
    if evidence.witness is None:
        return said
    weight = np.exp(bends.logs - bends.logs.max())
    between_n = float(weight @ model.errors.between_n[bends.error] / weight.sum())
    witness = replace(evidence.witness, se=np.hypot(evidence.witness.se, VISIT_SHARE * between_n))
    of_lag = np.bincount(bends.lag, weight, len(said))
    heard = of_lag > HEARD * of_lag.sum()
    rises = model.follow[heard, : model.n] @ np.maximum(model.x[:, None] - c, 0.0)
    said[heard] = log_places(model.x, witness, evidence.covariates, rises)
    return said


def _gathered(knots: Array, c: Array, bends: _Bends, others: tuple[float, float, float], model: _Model) -> Posterior:
    """Turns the sums over the grid into probabilities; knots as in `posterior.py`."""
    light, loaded, curved = others
    peak = np.full(len(c), -np.inf)
    np.maximum.at(peak, bends.place, bends.logs)
    weight = np.exp(bends.logs - peak[bends.place])
    fine, p, log_mean = finer(c, peak + np.log(np.bincount(bends.place, weight, len(c))))
    weight *= np.exp(peak - peak.max())[bends.place]
    weight /= weight.sum()
    classes = Classes(log_mean, light, loaded)
    p_bend, p_light, p_loaded = class_chances(classes, model.priors)
    edges = np.concatenate([[0.0], np.cumsum(0.5 * (p[1:] + p[:-1]))])
    edges = edges / edges[-1]
    rear, ahead = np.interp([knots[1], knots[-2]], fine, edges).tolist()
    return Posterior(
        c=fine,
        p=p,
        p_onset=p_bend * (ahead - rear),
        p_light=p_light + p_bend * (1.0 - ahead),
        p_loaded=p_loaded + p_bend * rear,
        p_shifted=np.asarray(np.bincount(bends.reading, weight, model.n + 1)[:-1], dtype=float),
        p_gradual=1.0 / (1.0 + math.exp(min(float(log_mean - curved), 700.0))),
        scale=float(model.errors.size[bends.error] @ weight),
        cumulative=edges,
        classes=classes,
        between_n=float(model.errors.between_n[bends.error] @ weight),
        p_lag=tuple(np.bincount(bends.lag, weight, len(model.follow)).tolist()),
    )
