"""The probability that the hands already carry more, over the ridden range, the setback suggested from it, and the
likelihood. At a position the hands carry more if the bend lies behind it, or if hand load rises all along. So the
probability is

    P(loaded) + P(a bend, and it lies further back)

which grows coming forward, from P(loaded) at the rearmost position to 1 - P(light) at the foremost.
"""

from __future__ import annotations

import math

import numpy as np

from daq.sweep.posterior import Classes, Posterior, Priors
from daq.values import Array, Likelihood

CURVE_MM = 1.0
LOADED_CHANCE = 0.05
"""The accepted risk at the suggested setback. A convention, like the 95 % of an interval."""


def class_chances(classes: Classes, priors: Priors) -> tuple[float, float, float]:
    """Probability of a bend between the outermost positions, of light and of loaded throughout."""
    logs = np.array([classes.bend, classes.light, classes.loaded]) + np.log([priors.onset, priors.light, priors.loaded])
    p_bend, p_light, p_loaded = np.exp(logs - np.logaddexp.reduce(logs)).tolist()
    return p_bend, p_light, p_loaded


def loaded_at(found: Posterior, classes: Classes, priors: Priors, setback_mm: Array) -> Array:
    """The probability at each of these setbacks between the outermost positions."""
    p_bend, _, p_loaded = class_chances(classes, priors)
    return np.asarray(p_loaded + p_bend * np.interp(-setback_mm, found.c, found.cumulative))


def curve(found: Posterior, classes: Classes, priors: Priors) -> tuple[tuple[float, float], ...]:
    """(setback_mm, chance) over the positions ridden, rearmost first, about every millimetre."""
    rear_mm, front_mm = -float(found.c[0]), -float(found.c[-1])
    setback_mm = np.linspace(rear_mm, front_mm, math.ceil((rear_mm - front_mm) / CURVE_MM - 1e-9) + 1)
    chance = loaded_at(found, classes, priors, setback_mm)
    return tuple(zip(setback_mm.tolist(), chance.tolist(), strict=True))


def foremost_mm(found: Posterior, classes: Classes, priors: Priors, loaded_chance: float) -> float | None:
    """The foremost setback where the probability is at most loaded_chance; None if it is larger even at the
    rearmost."""
    p_bend, _, p_loaded = class_chances(classes, priors)
    if p_loaded > loaded_chance:
        return None
    share = (loaded_chance - p_loaded) / p_bend
    return -float(found.c[-1]) if share >= 1.0 else -found.quantile(share)


def likelihood(found: Posterior, classes: Classes) -> Likelihood:
    """How well each position of the bend explains the sweep, on a grid of about 1 mm, everything else averaged out.

    Value k is the log of the mean of L(c) over the cell of width step_mm about rear_mm - k step_mm (half a cell at
    both ends), L(c) the probability of the steps given a bend at c. So with a prior density that is even over the
    positions ridden, the weighted mean of L (weights 1, half at the ends) is the probability of the steps given a bend.
    A bend beyond the outermost positions cannot be told from none: log_light and log_loaded include it.
    """
    span = float(found.c[-1] - found.c[0])
    cells = max(1, math.ceil(span / CURVE_MM - 1e-9))
    edges = np.clip(found.c[0] + (np.arange(cells + 2) - 0.5) * span / cells, found.c[0], found.c[-1])
    inside = np.diff(np.interp(edges, found.c, found.cumulative))
    log_l = classes.bend + np.log(np.maximum(inside, 1e-300) * span / np.diff(edges))
    top = max(float(log_l.max()), classes.light, classes.loaded)
    return Likelihood(
        rear_mm=-float(found.c[0]),
        step_mm=span / cells,
        log_l=tuple((log_l - top).tolist()),
        log_light=classes.light - top,
        log_loaded=classes.loaded - top,
    )
