"""The uncertainty of a calibrated load: a budget of terms, combined at any load by the GUM (JCGM 100:2008).

Every term is a standard uncertainty that is constant, grows with the load, or both. The scatter of the fitted
coefficients comes on top with its full covariance. Terms that are the same for all cells of one calibration (the
reference weights, gravity) add up as they are when cells are summed; all others add up in squares.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

Shape = Literal["normal", "rectangular", "triangular"]
FIT = "fit"
"""Name of the term that comes from the covariance of the coefficients."""
CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class Term:
    """One line of a budget: standard uncertainty sqrt(absolute_n^2 + (relative load)^2), newtons."""

    name: str
    absolute_n: float = 0.0
    relative: float = 0.0
    dof: float | None = None
    """Degrees of freedom; None: infinitely many, the uncertainty itself is taken as known."""
    shared: bool = False
    """The same error acts on every cell of this calibration."""
    shape: Shape = "normal"
    """Distribution of the error; with finite dof it is Student's t, scaled."""
    note: str = ""
    """Where the figure comes from."""

    def __post_init__(self) -> None:
        for name in ("absolute_n", "relative"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value >= 0.0):
                raise ValueError(f"term '{self.name}': {name}: expected a number of at least 0, got {value!r}")
        if self.shape not in get_args(Shape):
            raise ValueError(f"term '{self.name}': shape: expected {', '.join(get_args(Shape))}, got {self.shape!r}")
        if self.dof is not None and not (math.isfinite(self.dof) and self.dof > 0.0):
            raise ValueError(f"term '{self.name}': dof: expected a number above 0 or nothing, got {self.dof!r}")

    def at(self, load_n: float) -> float:
        """Standard uncertainty at this load, N."""
        return math.hypot(self.absolute_n, self.relative * load_n)


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

    def at(self, load_n: float) -> tuple[tuple[str, float, float | None, bool], ...]:
        """(name, standard uncertainty in N, degrees of freedom, shared) of every term at this load."""
        v11, v12, v22 = self.fit
        fit_n = abs(load_n) * math.sqrt(max(v11 + load_n * (2.0 * v12 + load_n * v22), 0.0))
        lines = [(term.name, term.at(load_n), term.dof, term.shared) for term in self.terms]
        return (*lines, (FIT, fit_n, self.fit_dof, False))


@dataclass(frozen=True, slots=True)
class Expanded:
    """An expanded uncertainty: the value lies within +-expanded_n with the stated confidence."""

    expanded_n: float
    standard_n: float
    coverage_factor: float
    dof: float
    """Effective degrees of freedom (Welch-Satterthwaite); inf when all terms are taken as known."""
    confidence: float = CONFIDENCE


def expanded(uncertainty: Uncertainty, load_n: float, *, confidence: float = CONFIDENCE) -> Expanded:
    """Expanded uncertainty of one channel at this load."""
    return combine([(u, dof) for _, u, dof, _ in uncertainty.at(load_n)], confidence=confidence)


def expanded_sum(parts: Sequence[tuple[Uncertainty, float]], *, confidence: float = CONFIDENCE) -> Expanded:
    """Expanded uncertainty of the sum of several channels, each with its load in N.

    Shared terms of one name act together: their uncertainties add up, with the sign of the load where they grow with
    it, before they are squared.
    """
    own: list[tuple[float, float | None]] = []
    together: dict[str, list[tuple[float, float | None]]] = {}
    for uncertainty, load_n in parts:
        for name, u, dof, shared in uncertainty.at(load_n):
            if shared:
                together.setdefault(name, []).append((math.copysign(u, load_n), dof))
            else:
                own.append((u, dof))
    for lines in together.values():
        dofs = [dof for _, dof in lines if dof is not None]
        own.append((abs(sum(u for u, _ in lines)), min(dofs, default=None)))
    return combine(own, confidence=confidence)


def combine(terms: Sequence[tuple[float, float | None]], *, confidence: float = CONFIDENCE) -> Expanded:
    """Root of the sum of squares of independent (standard uncertainty, degrees of freedom), expanded.

    Effective degrees of freedom: u^4 / sum(u_i^4 / dof_i) (Welch-Satterthwaite, JCGM 100 G.4.1); coverage factor: the
    quantile of Student's t for them (JCGM 100 G.3), not truncated to whole degrees.
    """
    standard_n = math.sqrt(math.fsum(u * u for u, _ in terms))
    spread = math.fsum(u**4 / dof for u, dof in terms if dof is not None)
    dof = standard_n**4 / spread if spread > 0.0 else math.inf
    factor = coverage_factor(dof, confidence)
    return Expanded(factor * standard_n, standard_n, factor, dof, confidence)


def coverage_factor(dof: float, confidence: float = CONFIDENCE) -> float:
    """Two-sided quantile of Student's t; of the normal distribution for infinite degrees of freedom."""
    from scipy.special import ndtri, stdtrit

    upper = 0.5 * (1.0 + confidence)
    return float(ndtri(upper) if math.isinf(dof) else stdtrit(dof, upper))
