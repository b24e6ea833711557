"""The uncertainty of a calibrated load: a budget of terms, combined at any load by the GUM (JCGM 100:2008).

Every term is a standard uncertainty that is constant, grows with the load, follows a curve over the loads, or all of
these. The scatter of the fitted coefficients comes on top with its full covariance. Terms shared by all cells of one
calibration (the reference weights, gravity) add linearly when cells are summed; all others add in quadrature. The
expanded uncertainty is that of the distribution of all of them together (JCGM 101).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TypeAlias, get_args

import numpy as np

from daq.measure.calibration.coverage import CONFIDENCE, Line, Shape, half_width
from daq.values import Array

Curve: TypeAlias = tuple[tuple[float, float], ...]
"""(load, standard uncertainty) in newtons."""

SHAPES = get_args(Shape)
FIT = "fit"
"""Name of the term that comes from the covariance of the coefficients."""


@dataclass(frozen=True, slots=True)
class Term:
    """One line of a budget: standard uncertainty sqrt(absolute_n^2 + (relative load)^2 + curve(load)^2), newtons."""

    name: str
    absolute_n: float = 0.0
    relative: float = 0.0
    dof: float | None = None
    """Degrees of freedom; None: infinitely many, the uncertainty itself is treated as known."""
    shared: bool = False
    """The same error acts on every cell of this calibration."""
    shape: Shape = "normal"
    """Distribution of the error; with finite dof it is Student's t, scaled."""
    note: str = ""
    """Where the figure comes from."""
    curve: Curve = ()
    """Linear in between and constant beyond."""
    closed: bool = False
    """The curve is a loop that closes at 0 and at its last load, and follows load x (last load - load) in between: a
    straight line would cut off its middle."""

    def __post_init__(self) -> None:
        for name, value in (("absolute_n", self.absolute_n), ("relative", self.relative)):
            if not (math.isfinite(value) and value >= 0.0):
                raise ValueError(f"term '{self.name}': {name}: expected a number of at least 0, got {value!r}")
        if self.shape not in SHAPES:
            raise ValueError(f"term '{self.name}': shape: expected {', '.join(SHAPES)}, got {self.shape!r}")
        if self.dof is not None and not (math.isfinite(self.dof) and self.dof > 0.0):
            raise ValueError(f"term '{self.name}': dof: expected a number above 0 or nothing, got {self.dof!r}")
        if self.curve:
            self._check_curve()

    def _check_curve(self) -> None:
        loads_n = [pair[0] for pair in self.curve]
        if any(len(pair) != 2 or not pair[1] >= 0.0 for pair in self.curve) or loads_n != sorted(set(loads_n)):
            raise ValueError(f"term '{self.name}': curve: expected rising loads with uncertainties of at least 0")
        if self.closed and not (len(loads_n) > 1 and loads_n[0] > 0.0):
            raise ValueError(f"term '{self.name}': curve: expected a closed one to begin above 0, got {loads_n}")

    def at(self, load_n: float) -> float:
        """Standard uncertainty at this load, N."""
        return math.hypot(self.absolute_n, self.relative * load_n, self._along(load_n) if self.curve else 0.0)

    def _along(self, load_n: float) -> float:
        loads_n, u_n = _columns(self.curve)
        if not self.closed:
            return float(np.interp(load_n, loads_n, u_n))
        inner, top_n = loads_n[:-1], loads_n[-1]
        belly = np.interp(load_n, inner, u_n[:-1] / inner / (top_n - inner))
        return max(load_n * float(top_n - load_n), 0.0) * float(belly)


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """The whole budget of one force channel."""

    terms: tuple[Term, ...]
    fit: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """v11, v12, v22: variance of the load from the coefficients, v11 F^2 + 2 v12 F^3 + v22 F^4, in N^2 for F in N."""
    fit_dof: float | None = None

    def __post_init__(self) -> None:
        names = [term.name for term in self.terms]
        if len(set(names)) < len(names) or FIT in names:
            raise ValueError(f"expected terms of different names, none of them '{FIT}', got {', '.join(names)}")
        v11, v12, v22 = self.fit
        if not (v11 >= 0.0 and v22 >= 0.0 and v12 * v12 <= v11 * v22 * (1.0 + 1e-9)):
            raise ValueError(f"fit: expected variances and a covariance within them, got {self.fit}")

    def at(self, load_n: float) -> tuple[Term, ...]:
        """Every term at this load alone: its standard uncertainty there is its absolute_n."""
        return tuple(
            replace(term, absolute_n=u_n, relative=0.0, curve=(), closed=False) for term, u_n in self.each(load_n)
        )

    def each(self, load_n: float) -> list[tuple[Term, float]]:
        """Every term with its standard uncertainty at this load, N."""
        v11, v12, v22 = self.fit
        fit_n = abs(load_n) * math.sqrt(max(v11 + load_n * (2.0 * v12 + load_n * v22), 0.0))
        terms = (*self.terms, Term(FIT, fit_n, dof=self.fit_dof, note="covariance of the coefficients"))
        return [(term, term.at(load_n)) for term in terms]

    def standard_n(self, load_n: float) -> float:
        """Standard uncertainty of one channel at this load, N."""
        return math.hypot(*(u_n for _, u_n in self.each(load_n)))


@dataclass(frozen=True, slots=True)
class Expanded:
    """An expanded uncertainty: the value lies within +-expanded_n with the stated confidence."""

    expanded_n: float
    standard_n: float
    coverage_factor: float
    """The ratio of the two above; that of the normal distribution if nothing is uncertain."""
    dof: float
    """Effective degrees of freedom (Welch-Satterthwaite); inf when all terms are taken as known."""
    confidence: float = CONFIDENCE


def expanded(uncertainty: Uncertainty, load_n: float, *, confidence: float = CONFIDENCE) -> Expanded:
    """Expanded uncertainty of one channel at this load."""
    return expanded_sum([(uncertainty, load_n)], confidence=confidence)


def expanded_sum(parts: Sequence[tuple[Uncertainty, float]], *, confidence: float = CONFIDENCE) -> Expanded:
    """Expanded uncertainty of the sum of several channels, each with its load in N.

    Shared terms with the same name act together: their uncertainties are added before squaring, with the sign of the
    load where they grow with it.
    """
    own: list[Line] = []
    together: dict[str, list[Line]] = {}
    for uncertainty, load_n in parts:
        for term, u_n in uncertainty.each(load_n):
            if term.shared:
                u = math.copysign(u_n, load_n)
                together.setdefault(term.name, []).append((u, term.dof, term.shape))
            else:
                own.append((u_n, term.dof, term.shape))
    for lines in together.values():
        dofs = [dof for _, dof, _ in lines if dof is not None]
        own.append((abs(sum(u for u, _, _ in lines)), min(dofs, default=None), lines[0][2]))
    return combine(own, confidence=confidence)


def combine(lines: Sequence[Line], *, confidence: float = CONFIDENCE) -> Expanded:
    """Root of the sum of squares of independent errors, and the half-width that contains their sum.

    Effective degrees of freedom: u^4 / sum(u_i^4 / dof_i) (Welch-Satterthwaite, JCGM 100 G.4.1).
    """
    standard_n = math.sqrt(math.fsum(u * u for u, _, _ in lines))
    spread = math.fsum(u**4 / dof for u, dof, _ in lines if dof is not None)
    dof = standard_n**4 / spread if spread > 0.0 else math.inf
    expanded_n = half_width(lines, confidence)
    factor = expanded_n / standard_n if standard_n else half_width([(1.0, None, "normal")], confidence)
    return Expanded(expanded_n, standard_n, factor, dof, confidence)


@lru_cache(maxsize=64)
def _columns(curve: Curve) -> tuple[Array, Array]:
    """Loads and uncertainties of a curve, which is asked at one load after the other."""
    loads_n, u_n = np.transpose(curve)
    return loads_n, u_n
