"""The exact least-squares hinge: y = a + b x + d (x - c)+ with the global minimum over c, and its exact profile set.

For c between two neighbouring positions the columns right of c are linear in c, so the reduction of the residual sum of
squares relative to the straight line is a ratio of two quadratics in c,

    fall(c) = (p - q c)^2 / (A - 2 B c + C c^2),

with one maximum in closed form. The global minimum is the best of these maxima that lie inside their gap and of the
positions themselves: nothing is iterated, nothing can get stuck. The module knows nothing about newtons or saddles.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from daq.values import Array

_NOTHING_LEFT = 1e-12
"""A hinge column reduced below this fraction by projection is indistinguishable from the straight line."""


@dataclass(frozen=True, slots=True)
class Hinge:
    """The least-squares hinge. slope is b, left of the breakpoint; added is d, the slope added right of it."""

    breakpoint: float
    level: float
    """Height of the line at the breakpoint, covariates at 0."""
    slope: float
    added: float
    rss: float
    """Residual sum of squares; with weights, the weighted sum."""
    rss_straight: float
    """The same without a hinge."""
    freedom: int
    """Points minus parameters, the breakpoint being one."""
    _gaps: _Gaps = field(repr=False, compare=False)
    _middle: float = field(repr=False, compare=False)

    @property
    def pieces(self) -> tuple[tuple[float, float], ...]:
        """The profile-F set at 95 %, in one piece or several; -inf or inf where it extends beyond the points."""
        found = self._gaps.below(_limit(self.rss, self.freedom))
        return tuple((float(low + self._middle), float(high + self._middle)) for low, high in found)

    @property
    def interval(self) -> tuple[float, float]:
        """The hull of the pieces."""
        pieces = self.pieces
        return pieces[0][0], pieces[-1][1]


def least_squares(
    x: Array,
    y: Array,
    *,
    weights: Array | None = None,
    covariates: Array | None = None,
) -> Hinge:
    """The global least-squares hinge of y over x, both (n,), with weights (n,) and linear covariates (n, k).

    ValueError with fewer than 4 distinct x: a hinge then has no gap to move in.
    """
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    knots = np.unique(x)
    if len(knots) < 4:
        raise ValueError(f"a hinge needs at least 4 distinct x, got {len(knots)}")
    middle = float(x.mean())
    extra = np.empty((len(x), 0)) if covariates is None else np.asarray(covariates, dtype=float)
    root = np.ones(len(x)) if weights is None else np.sqrt(np.asarray(weights, dtype=float))
    gaps = _Gaps(x - middle, y, knots - middle, extra, root)
    c = gaps.best()
    design = np.column_stack([np.ones(len(x)), x - middle, np.maximum(x - middle - c, 0.0), extra])
    coefficients = np.linalg.lstsq(root[:, None] * design, root * y, rcond=None)[0]
    rss = float(np.sum((root * (y - design @ coefficients)) ** 2))
    return Hinge(
        breakpoint=float(c + middle),
        level=float(coefficients[0] + coefficients[1] * c),
        slope=float(coefficients[1]),
        added=float(coefficients[2]),
        rss=rss,
        rss_straight=gaps.rss_straight,
        freedom=len(x) - design.shape[1] - 1,
        _gaps=gaps,
        _middle=middle,
    )


def _limit(rss: float, freedom: int) -> float:
    """The residual sum of squares up to which a breakpoint is in the profile-F set; infinite without freedom."""
    from scipy.special import fdtri

    return rss * (1.0 + float(fdtri(1, freedom, 0.95)) / freedom) if freedom > 0 else math.inf


class _Gaps:
    """The fall of the residual sum of squares in each gap between neighbouring positions, all gaps at once."""

    def __init__(self, x: Array, y: Array, knots: Array, extra: Array, root: Array) -> None:
        basis = np.linalg.qr(root[:, None] * np.column_stack([np.ones(len(x)), x, extra]))[0]
        right = x[:, None] > 0.5 * (knots[1:-2] + knots[2:-1])
        ones, ramps = root[:, None] * right, (root * x)[:, None] * right
        scale = np.sum(ramps**2, axis=0) + np.sum(ones**2, axis=0)
        target = _without(basis, root * y)
        ones, ramps = _without(basis, ones), _without(basis, ramps)
        self.rss_straight = float(target @ target)
        self._knots = knots
        self._p, self._q = ramps.T @ target, ones.T @ target
        self._aa, self._bb, self._cc = np.sum(ramps**2, 0), np.sum(ramps * ones, 0), np.sum(ones**2, 0)
        self._scale = scale

    def _fall(self, c: Array) -> Array:
        """Fall of the residual sum of squares with the breakpoint at c[i] in gap i."""
        below = self._aa - 2.0 * self._bb * c + self._cc * c**2
        real = below > _NOTHING_LEFT * self._scale
        return np.where(real, (self._p - self._q * c) ** 2 / np.where(real, below, 1.0), 0.0)

    def best(self) -> float:
        """The breakpoint of the global minimum; the leftmost of ties."""
        low, high = self._knots[1:-2], self._knots[2:-1]
        under = self._p * self._cc - self._q * self._bb
        peak = np.where(under != 0.0, (self._p * self._bb - self._q * self._aa) / np.where(under, under, 1.0), low)
        candidates = np.concatenate([low, high, np.where((peak > low) & (peak < high), peak, low)])
        falls = np.concatenate([self._fall(c) for c in np.split(candidates, 3)])
        return float(candidates[np.argmax(falls)])

    def below(self, limit: float) -> list[tuple[float, float]]:
        """The breakpoints whose residual sum of squares is at most limit, as touching or separate pieces.

        Beyond the second position on either side every breakpoint fits equally well, so a set that reaches it is open.
        """
        least_fall = self.rss_straight - limit
        pieces: list[tuple[float, float]] = []
        for i, (low, high) in enumerate(zip(self._knots[1:-2], self._knots[2:-1], strict=True)):
            for piece in self._inside(i, least_fall, float(low), float(high)):
                if pieces and piece[0] - pieces[-1][1] <= 1e-9 * (high - low):
                    pieces[-1] = (pieces[-1][0], piece[1])
                else:
                    pieces.append(piece)
        left, right = float(self._knots[1]), float(self._knots[-2])
        opened = [(-math.inf if a <= left else a, math.inf if b >= right else b) for a, b in pieces]
        return opened or [(-math.inf, math.inf)]

    def _inside(self, i: int, least_fall: float, low: float, high: float) -> list[tuple[float, float]]:
        """Where in gap i the fall is at least least_fall: a quadratic inequality in c."""
        if least_fall <= 0.0:
            return [(low, high)]
        two = self._q[i] ** 2 - least_fall * self._cc[i]
        one = -2.0 * (self._p[i] * self._q[i] - least_fall * self._bb[i])
        zero = self._p[i] ** 2 - least_fall * self._aa[i]
        roots = [r for r in sorted(_real_roots(two, one, zero)) if low < r < high]
        edges = [low, *roots, high]
        inside = []
        for a, b in pairwise(edges):
            c = 0.5 * (a + b)
            if (two * c + one) * c + zero >= 0.0:
                inside.append((a, b))
        return inside


def _without(basis: Array, columns: Array) -> Array:
    """The part of the columns outside the span of the basis, projected twice for accuracy."""
    left = columns - basis @ (basis.T @ columns)
    return np.asarray(left - basis @ (basis.T @ left))


def _real_roots(two: float, one: float, zero: float) -> list[float]:
    """Real roots of two c^2 + one c + zero, without cancellation."""
    inside = one * one - 4.0 * two * zero
    if inside < 0.0:
        return []
    far = -0.5 * (one + math.copysign(math.sqrt(inside), one))
    return [r for r in (far / two if two else math.nan, zero / far if far else math.nan) if math.isfinite(r)]
