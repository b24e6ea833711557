"""How the stroke changes as the saddle goes back, and from level to a gradient, with intervals and in words.

It says what the numbers allow and no more: no muscle is diagnosed, and an insignificant change is called not visible,
not absent.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from daq.measure.ripple import Ripple
from daq.student import quantile
from daq.values import NAN, Array
from daq.words import counted

FEWEST_STEPS = 5
"""For a slope with a time term and two remaining degrees of freedom."""


@dataclass(frozen=True, slots=True)
class RippleChange:
    """A change with its 95 % interval: per 10 mm further back, or from level to the gradient."""

    value: float
    u: float
    interval_95: tuple[float, float]
    visible: bool
    """Whether the interval excludes 0."""
    name: str
    said: str
    """In words, with its interval."""

    @property
    def text(self) -> str:
        return f"{self.name}: {self.said}"


def trend(name: str, unit: str, setback_mm: Array, values: Array, t_min: Array) -> RippleChange:
    """Change of a quantity per 10 mm further back, over steps (n,), with a term linear in time.

    Least squares; the interval is Student's, from the scatter of the steps about the fit. Steps without a value are
    left out; with fewer than FEWEST_STEPS left, or setback and time that cannot be told apart, nothing is visible.
    """
    known = np.isfinite(values)
    x, y, t = setback_mm[known], values[known], t_min[known]
    columns = np.column_stack([np.ones_like(x), (x - x.mean()) / 10.0, t - t.mean()]) if len(x) else np.zeros((0, 3))
    if len(x) < FEWEST_STEPS or np.linalg.cond(columns / np.maximum(np.linalg.norm(columns, axis=0), 1e-12)) > 20.0:
        return _nothing(name, f"not visible, too few positions with a value ({len(x)}) or all ridden in one order")
    solved, *_ = np.linalg.lstsq(columns, y, rcond=None)
    freedom = len(y) - columns.shape[1]
    variance = float(np.sum((y - columns @ solved) ** 2)) / freedom
    u = math.sqrt(variance * float(np.linalg.inv(columns.T @ columns)[1, 1]))
    return _change(name, unit, "per 10 mm further back", float(solved[1]), u, freedom)


def step_change(name: str, unit: str, level: Array, tilted: Array) -> RippleChange:
    """Change from level to the gradient, over positions (n,) ridden both ways: mean of the paired differences."""
    differences = (tilted - level)[np.isfinite(level) & np.isfinite(tilted)]
    n = len(differences)
    if n < 3:
        return _nothing(
            name, f"not visible, {counted(n, 'position')} ridden both level and on the gradient; 3 are needed"
        )
    u = float(differences.std(ddof=1)) / math.sqrt(n)
    return _change(name, unit, "from level to the gradient", float(differences.mean()), u, n - 1)


def over_setback(
    load: str, steps: Sequence[Ripple], setback_mm: Array, t_min: Array
) -> tuple[dict[str, RippleChange], tuple[str, ...]]:
    """How the ripple of one load changes as the saddle goes back: changes by name, and what is not visible at all.

    load: "hands" or "saddle", for the words. The keys are those of QUANTITIES.
    """
    found = {
        key: trend(f"{load}: {words}", unit, setback_mm, take(steps), t_min)
        for key, (words, unit, take) in QUANTITIES.items()
    }
    return found, tuple(dict.fromkeys(limit for ripple in steps for limit in ripple.limits))


def level_against_gradient(load: str, level: Sequence[Ripple], tilted: Sequence[Ripple]) -> dict[str, RippleChange]:
    """The same quantities, level against gradient, for steps at the same setbacks in the same order."""
    both = [*level, *tilted]
    return {
        key: step_change(f"{load}: {words}", unit, *np.split(take(both), [len(level)]))
        for key, (words, unit, take) in QUANTITIES.items()
    }


def _second(steps: Sequence[Ripple]) -> Array:
    return np.array([r.harmonics[1].amplitude if r.harmonics and r.harmonics[1].visible else NAN for r in steps])


def _peak(steps: Sequence[Ripple]) -> Array:
    """Peaks of the second harmonic, moved by half turns so that all lie near their common angle."""
    peaks = np.array([r.harmonics[1].peak_deg if r.harmonics else NAN for r in steps])
    known = peaks[np.isfinite(peaks)]
    common = 0.5 * np.degrees(np.angle(np.mean(np.exp(2j * np.radians(known))))) if len(known) else NAN
    return np.asarray(common + (peaks - common + 90.0) % 180.0 - 90.0)


QUANTITIES: dict[str, tuple[str, str, Callable[[Sequence[Ripple]], Array]]] = {
    "dead_centres": ("depth of both dead centres together, the twice-a-turn ripple", "N", _second),
    "roughness": ("roughness at top and bottom together", "N", lambda steps: np.array([r.roughness for r in steps])),
    "evenness": ("stroke-to-stroke spread over the ripple", "", lambda steps: np.array([r.evenness for r in steps])),
    "peak_angle": ("angle of the ripple's peak, later positive", "deg", _peak),
}
"""What is tracked: its label, its unit, and how it is computed from the ripples of some steps."""


def _nothing(name: str, said: str) -> RippleChange:
    return RippleChange(NAN, NAN, (NAN, NAN), False, name, said)


def _change(name: str, unit: str, over: str, value: float, u: float, freedom: int) -> RippleChange:
    half = quantile(0.975, freedom) * u
    low, high = value - half, value + half
    visible = low > 0.0 or high < 0.0
    digits = _decimals(half)
    shown = f"{_signed(value, digits)} {unit}".rstrip()
    interval = f"95 % interval {_signed(low, digits)} to {_signed(high, digits)}"
    said = (
        f"{shown} {over} ({interval})"
        if visible
        else f"no change visible {over} ({interval} {unit})".replace(" )", ")")
    )
    return RippleChange(value, u, (low, high), visible, name, said)


def _decimals(half: float) -> int:
    """As many as show two digits of the interval's half width, and never more than three."""
    return 0 if not half > 0.0 else min(3, max(0, 1 - math.floor(math.log10(half))))


def _signed(value: float, digits: int) -> str:
    """Never in powers of ten, and never a minus before nothing."""
    return f"{value:+z.{digits}f}"
