"""Partial pooling of workshops: how far onsets scatter in each, and in one nobody has heard of yet.

Each workshop has standard deviations of its own; around a middle common to all they lie as a normal does, in the
logarithm of 1 mm + sd. Where workshops agree, each is drawn to the others, one with few repeats the most; where they do
not, each keeps its own. What another workshop can begin with is what a further one would have: wider than any of these
alone, since it is another. Everything is summed over the grids of spreads.py; nothing is drawn at random. Hierarchical
models of groups with few members are in Gelman (2006, Bayesian Analysis 1:515; from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from daq.sweep.panel import NEARLY_NONE, Panel
from daq.sweep.spreads import DAY_SDS_MM, SWEEP_SDS_MM, SpreadPriors, cells, half_normal
from daq.values import Array

BETWEEN = np.array([0.0, 0.1, 0.2, 0.35, 0.5, 0.75, 1.0])
"""How far workshops lie apart: standard deviations of ln(1 mm + sd)."""
BETWEEN_PRIOR = 0.5
"""Scale of its half-normal prior: workshops' standard deviations differ by a factor of 1.6, give or take. Judgement, no
source."""
FROM_MM = 1.0


@dataclass(frozen=True, eq=False, slots=True)
class PooledWorkshops:
    """What all workshops together say."""

    each: Mapping[str, SpreadPriors]
    """What is believed of each workshop, by its name."""
    another: SpreadPriors
    """Of one that is none of these."""
    between: float
    """How far they lie apart, posterior mean, as a standard deviation of ln(1 mm + sd)."""


def pooled(panels: Mapping[str, Panel], name: str) -> PooledWorkshops:
    """Workshops by name; name: of the whole. The middle has the priors of the first, the same for all. ValueError
    without a workshop, or if their priors differ."""
    if not panels:
        raise ValueError("panels: expected at least one workshop")
    ordered = dict(sorted(panels.items()))
    first, *others = [one.priors for one in ordered.values()]
    if any((first.day != one.day).any() or (first.sweep != one.sweep).any() for one in others):
        raise ValueError("panels: expected the same priors for all workshops")
    seen = {workshop: _evidence(one, first) for workshop, one in ordered.items()}
    weight, day, sweep = _middles(list(seen.values()), first)
    return PooledWorkshops(
        {workshop: _as_one(weight, day, sweep, evidence, workshop) for workshop, evidence in seen.items()},
        _as_one(weight, day, sweep, np.ones((len(DAY_SDS_MM), len(SWEEP_SDS_MM))), name),
        float(weight.sum(axis=(1, 2)) @ BETWEEN),
    )


def _evidence(found: Panel, priors: SpreadPriors) -> Array:
    """(D, S) likelihood of the workshop's tests, scaled to a highest value of 1."""
    given = np.outer(priors.day, priors.sweep)
    likelihood: Array = np.divide(found.weight, given, out=np.zeros_like(found.weight), where=given > 0.0)
    return np.asarray(likelihood / likelihood.max())


def _middles(seen: list[Array], priors: SpreadPriors) -> tuple[Array, Array, Array]:
    """(B, D, S) probability of each distance between workshops and each pair of middles, and the (B, D, D) and
    (B, S, S) probabilities of a workshop's standard deviations given these."""
    day, sweep = (np.array([_around(grid_mm, apart) for apart in BETWEEN]) for grid_mm in (DAY_SDS_MM, SWEEP_SDS_MM))
    middles = half_normal(BETWEEN, BETWEEN_PRIOR)[:, None, None] * np.outer(priors.day, priors.sweep)
    log_p = np.log(np.maximum(middles, NEARLY_NONE))
    for likelihood in seen:
        log_p = log_p + np.log(np.maximum(day @ likelihood @ sweep.transpose(0, 2, 1), NEARLY_NONE))
    weight = np.exp(log_p - log_p.max())
    return weight / weight.sum(), day, sweep


def _as_one(weight: Array, day: Array, sweep: Array, evidence: Array, name: str) -> SpreadPriors:
    """One workshop's standard deviations, summed over all distances between workshops and all middles."""
    of_this = day @ evidence @ sweep.transpose(0, 2, 1)
    share = np.divide(weight, of_this, out=np.zeros_like(weight), where=of_this > 0.0)
    joint = evidence * np.einsum("bij,bid,bjs->ds", share, day, sweep)
    joint = joint / joint.sum()
    return SpreadPriors(joint.sum(axis=1), joint.sum(axis=0), name)


def _around(grid_mm: Array, apart: float) -> Array:
    """(n, n) probability of each standard deviation, given each as the middle."""
    if apart == 0.0:
        return np.eye(len(grid_mm))
    at = np.log(FROM_MM + grid_mm)
    density = cells(grid_mm) / (FROM_MM + grid_mm) * np.exp(-0.5 * ((at - at[:, None]) / apart) ** 2)
    return np.asarray(density / density.sum(axis=1, keepdims=True))
