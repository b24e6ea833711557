"""The posterior of a breakpoint on a grid: how well every position of the bend explains the steps, all else averaged
out.

The model of n step means y at forward positions x (mm, growing as the rider comes forward):

    y = a + b x + d (x - c)+ + covariates g + shift of at most one step + noise,   d > 0
    noise of step i: normal, standard deviation  scale * se_i

With c, the scale, the kind of slope behind and the step that may be shifted all fixed, everything else is linear with
normal priors, so its integral is closed form: the probability of y is normal with covariance

    V = scale^2 diag(se^2) + X P X' ,   X = [1, x, covariates],  P their prior covariance,

d is integrated over a half normal, and a shift of step j changes V by a term of rank one. What is left is a sum over a
grid: nothing is drawn at random and nothing is iterated, so the same steps give the same bits.

Three explanations compete, each with all its nuisances averaged out: a bend inside the ridden positions; straight and
light (no rise forward); straight and loaded (a rise all along: the bend, if any, lies behind).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from daq.sweep.marginal import Marginal, known_scales, log_sum
from daq.sweep.places import places
from daq.sweep.witness import Witness, log_places
from daq.values import NAN, Array

NODES_MM = 0.5
"""Farthest distance of the breakpoints at which everything is summed; between them log probability is interpolated."""
GRID_MM = 0.1


@dataclass(frozen=True, slots=True)
class Priors:
    """The priors. Newtons, millimetres, minutes."""

    level_n: float = 300.0
    slopes_behind: tuple[float, float] = (0.2, 0.8)
    """Standard deviations of the slope behind the bend, N/mm, half each: mechanics predicts none, riders may differ."""
    light_slope: float = 0.1
    """Standard deviation of the slope of a rider light throughout, N/mm; a falling slope may be of any size."""
    falling: float = 0.2
    """Probability that the slope is a falling one."""
    added_slopes: tuple[float, float] = (0.25, 1.0)
    """Scales w of the added slope's density 2 d^2/w^2 N(d; 0, w^2), N/mm, half each: 0.1-0.5 from mechanics, up to 2
    in steep riders. The density is 0 at 0, so a rise too small to matter counts as evidence for no onset."""
    onset: float = 0.4
    light: float = 0.3
    loaded: float = 0.3
    shifted: float = 0.25
    """Probability that one step of the sweep is a bad one."""
    shift_n: float = 12.0
    scale_spread: float = 0.25
    """Spread of log(scale) when standard errors are given; Student's t with 3 degrees of freedom."""
    free_scale_n: float = 2.0
    free_scale_spread: float = 0.6
    """Median and spread of log(scale) of a step's error when none is given: 0.6 to 7 N at two spreads."""


@dataclass(frozen=True, slots=True)
class Classes:
    """log probability of the steps under each explanation, without the prior on the three."""

    bend: float
    """Averaged over all breakpoints from the rearmost position to the foremost."""
    light: float
    loaded: float


@dataclass(frozen=True, eq=False, slots=True)
class Posterior:
    """Where the bend may be, and whether there is one. Positions in forward millimetres."""

    c: Array
    """(m,) grid of breakpoints over the ridden positions, 0.1 mm."""
    p: Array
    """(m,) probability of each grid cell given that there is a bend inside; sums to 1."""
    p_onset: float
    p_light: float
    p_loaded: float
    p_shifted: Array
    """(n,) probability that step i is a bad one, given a bend."""
    p_gradual: float
    """Probability that hand load curves smoothly rather than bends, given that it does one of the two."""
    scale: float
    """Posterior mean of the scale of the steps' errors, given a bend."""
    cumulative: Array = field(repr=False)
    classes: Classes | None = None
    """None for methods before `hinge-posterior/3`, like the two below."""
    between_n: float = NAN
    """Posterior mean of the between-step error, N, given a bend."""
    p_lag: tuple[float, ...] = ()
    """Probability of each time constant, given a bend."""

    @property
    def mean(self) -> float:
        return float(self.c @ self.p)

    @property
    def sd(self) -> float:
        return math.sqrt(max(0.0, float((self.c - self.mean) ** 2 @ self.p)))

    def quantile(self, share: float) -> float:
        """The position with this fraction of the probability below it, interpolated between grid points."""
        return float(np.interp(share, self.cumulative, self.c))

    def interval(self) -> tuple[float, float]:
        """The central 95 %."""
        tail = 0.5 * (1.0 - 0.95)  # not 0.025: answers are the same to the last bit
        return self.quantile(tail), self.quantile(1.0 - tail)


def posterior(
    x: Array,
    y: Array,
    *,
    se: Array | None,
    covariates: Array,
    covariate_means: Array,
    covariate_sds: Array,
    priors: Priors,
    witness: Witness | None = None,
) -> Posterior:
    """The posterior over breakpoints between the outermost x.

    x, y: (n,). se: (n,) standard errors of y up to a common scale near 1; None when nothing is known of them.
    covariates: (n, k), centred, with normal priors of the given means and standard deviations, (k,).
    witness: another reading of the same weight; it can say where a bend is, not whether there is one.
    """
    y = y - covariates @ covariate_means - y.mean()
    middle = 0.5 * (x.min() + x.max())
    x = x - middle
    scale, scale_weight = free_scales(priors) if se is None else known_scales(priors.scale_spread)
    noise = np.ones(len(y)) if se is None else se
    nuisance = np.column_stack([np.full(len(y), priors.level_n), covariates * covariate_sds])

    def seen(*slopes: float) -> Marginal:
        """The steps with a slope of each of these prior standard deviations; 0: no slope."""
        designs = [np.column_stack([nuisance, x * sd]) for sd in slopes]
        return Marginal(y, noise, scale, designs, shifted=priors.shifted, shift_n=priors.shift_n)

    def total(logs: Array) -> float:
        """Summed over all scales, slopes and so on, with the scales' prior weights."""
        return log_sum(logs + scale_weight.reshape(-1, *[1] * (logs.ndim - 1))) - math.log(logs.shape[1])

    sloped, level, flat = seen(*priors.slopes_behind), seen(0.0), seen(priors.light_slope)
    c = np.linspace(x.min(), x.max(), max(8, math.ceil(np.ptp(x) / NODES_MM)) + 1)
    rise = np.maximum(x[:, None] - c, 0.0)
    bend = sloped.with_rise(rise, priors.added_slopes)
    bend = bend + (scale_weight - math.log(len(priors.slopes_behind)))[:, None, None, None]
    if witness is not None:
        bend = bend + log_places(x, witness, covariates, rise[None])[0]
    falling = level.with_rise(-x[:, None], priors.slopes_behind[1:])
    light = np.logaddexp(
        total(flat.evidence) + math.log(1.0 - priors.falling), total(falling) + math.log(priors.falling)
    )
    loaded = total(level.with_rise(x[:, None], priors.added_slopes))
    curved = total(sloped.with_rise(((x - x.min()) ** 2 / (2.0 * np.ptp(x)))[:, None], priors.added_slopes))
    found = _gathered(places(x), c, bend, float(light), loaded, curved, scale, priors)
    return replace(found, c=found.c + middle)


def free_scales(priors: Priors) -> tuple[Array, Array]:
    """Grid of the standard deviation of a step, N, and its log prior weights, (K,) each."""
    scale = np.geomspace(0.3, 14.0, 15)
    t = np.log(scale / priors.free_scale_n) / priors.free_scale_spread
    return scale, -0.5 * t * t


def _gathered(
    knots: Array,
    c: Array,
    log_bend: Array,
    light: float,
    loaded: float,
    curved: float,
    scale: Array,
    priors: Priors,
) -> Posterior:
    """Turns the sums over the grid into probabilities. A bend in the frontmost gap leaves all positions but one behind
    it: in the ridden range, that is light throughout. In the rearmost gap, likewise, loaded throughout.
    """
    peak = log_bend.max(axis=(0, 1, 2))
    weight = np.exp(log_bend - peak)
    fine, p, log_mean = finer(c, peak + np.log(weight.sum(axis=(0, 1, 2))))
    weight *= np.exp(peak - peak.max())
    logs = np.array([log_mean, light, loaded]) + np.log([priors.onset, priors.light, priors.loaded])
    p_bend, p_light, p_loaded = np.exp(logs - np.logaddexp.reduce(logs)).tolist()
    front, rear = float(p[fine > knots[-2]].sum()), float(p[fine < knots[1]].sum())
    edges = np.concatenate([[0.0], np.cumsum(0.5 * (p[1:] + p[:-1]))])
    return Posterior(
        c=fine,
        p=p,
        p_onset=p_bend * (1.0 - front - rear),
        p_light=p_light + p_bend * front,
        p_loaded=p_loaded + p_bend * rear,
        p_shifted=weight.sum(axis=(0, 1, 3))[:-1] / weight.sum(),
        p_gradual=1.0 / (1.0 + math.exp(min(float(log_mean - curved), 700.0))),
        scale=float(scale @ weight.sum(axis=(1, 2, 3)) / weight.sum()),
        cumulative=edges / edges[-1],
    )


def finer(c: Array, log_p: Array) -> tuple[Array, Array, float]:
    """Grid of about GRID_MM over the nodes c, probability of each of its cells, and the log of the mean density.

    Cubic through the logs with central differences as slopes: exact where the logs are a parabola, so for any normal.
    """
    step = c[1] - c[0]
    parts = max(1, round(step / GRID_MM))
    slope = np.gradient(log_p)
    f = np.arange(parts) / parts
    a, b = log_p[:-1, None], log_p[1:, None]
    between = (1 + 2 * f) * (1 - f) ** 2 * a + f**2 * (3 - 2 * f) * b
    between = between + f * (1 - f) ** 2 * slope[:-1, None] - f**2 * (1 - f) * slope[1:, None]
    log_fine = np.append(between.ravel(), log_p[-1])
    top = float(log_fine.max())
    p = np.exp(log_fine - top)
    p[[0, -1]] *= 0.5
    total = float(p.sum())
    return np.linspace(c[0], c[-1], len(p)), p / total, top + math.log(total / (len(p) - 1))
