"""What a proof finds wrong with a jig, part by part: each figure with its uncertainty, against what matters.

A part is named when its figure is larger than its own uncertainty allows, all figures looked at together (95 % for the
family, by Bonferroni's inequality), and larger than what would matter for an onset. A smaller figure is listed in the
certificate, but names no part.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from daq.measure.calibration.coverage import Line, half_width
from daq.measure.calibration.crosstalk import LITTLE
from daq.proof.hung import hung
from daq.proof.scale import DATUM_U_MM, scale_fit
from daq.proof.trueness import trueness
from daq.values import Array

WEIGHTS_U = 5e-4
"""Standard relative uncertainty of the pull of workshop weights, including gravity, unless a better one is given."""
LEVEL_U_DEG = 0.05
"""Standard uncertainty of a digital level, zeroed by turning it round. Assumption."""
FAMILY = 0.95


@dataclass(frozen=True, eq=False, slots=True)
class ProofFigures:
    """What a proof measured, of one jig or of many at once: readings (..., n)."""

    scale_mm: Array
    """(a,) positions of the scale; the caliper's values beside them."""
    scale_forward: Array
    caliper_mm: npt.ArrayLike
    bar_n: Array
    """(m,) weights on the bar, and what hands and saddle show of them."""
    bar_hands_n: npt.ArrayLike
    bar_saddle_n: npt.ArrayLike
    laid_n: Array
    """(q,) weights on the saddle."""
    laid_hands_n: npt.ArrayLike
    laid_saddle_n: npt.ArrayLike
    level_deg: npt.ArrayLike
    """(..., v) by an independent level, and what the jig shows."""
    shown_deg: npt.ArrayLike
    error_mm: npt.ArrayLike
    """(..., p, n) onsets found less the dummy's, placements by sweeps."""
    rate: npt.ArrayLike
    """(..., s) added load per mm that the sweeps found over the dummy's own."""


@dataclass(frozen=True, slots=True)
class Uncertain:
    """Standard uncertainties of a proof's references."""

    weights: float = WEIGHTS_U
    level_deg: float = LEVEL_U_DEG
    datum_mm: float = DATUM_U_MM
    rate: float = 0.01
    """Of the dummy's rate, relative."""


@dataclass(frozen=True, slots=True)
class WrongPart:
    """One thing that may be wrong."""

    name: str
    unit: str
    limit: float
    """Smaller values do not matter for an onset. Judgement, no source."""
    says: str
    """What a value over the limit means, {value} in it."""
    cure: str
    shown: float = 1.0
    """Factor to the unit."""


PARTS: dict[str, WrongPart] = {
    "hands gain": WrongPart(
        "gain of the cells at the hands", "%", 0.005, "the hands' cells show {value} too much or too little",
        "calibrate them again on the bench; look for another gain of the board", 100.0,
    ),
    "saddle gain": WrongPart(
        "gain of the cells under the saddle", "%", 0.005, "the saddle's cells show {value} too much or too little",
        "calibrate them again on the bench; look for another gain of the board", 100.0,
    ),
    "stop": WrongPart(
        "a stop that touches", "%", 0.05, "of load beyond the light weights {value} does not reach the hands' cells",
        "look for what touches under load: an overload stop, a cable, a clamp; give it room", 100.0,
    ),
    "crosstalk of hands": WrongPart(
        "cross-talk from the hands", "%", LITTLE, "the saddle's cells show {value} of a load on the bar",
        "calibrate cross-talk on the bench; look for a frame that twists a cell", 100.0,
    ),
    "crosstalk of saddle": WrongPart(
        "cross-talk from the saddle", "%", LITTLE, "the hands' cells show {value} of a load on the saddle",
        "calibrate cross-talk on the bench; look for a frame that twists a cell", 100.0,
    ),
    "scale offset": WrongPart(
        "zero of the setback scale", "mm", 1.0, "the saddle is {value} from where the scale says",
        "move the scale and prove again; until then the scale's table in the rig file tells it beside every answer",
    ),
    "scale slope": WrongPart(
        "divisions of the setback scale", "mm per 100 mm", 0.01, "the scale is wrong by {value}",
        "change the scale and prove again; until then the scale's table in the rig file tells it beside every answer",
        100.0,
    ),
    "backlash": WrongPart(
        "play of the saddle's carriage", "mm", 0.5, "coming forward and going back differ by {value} at one mark",
        "take the play out, or always come to a position from the same side",
    ),
    "tilt": WrongPart(
        "tilt sensor", "°", 0.15, "the tilt is shown {value} off an independent level",
        "calibrate the tilt on the bench (--tilts --level); see that the sensor sits tight",
    ),
    "flex": WrongPart(
        "a frame that gives way", "%", 0.05, "hand load rises {value} from what the springs ask for",
        "look for what bends or slips under load: bar clamp, saddle post, pulleys; weigh the spring again", 100.0,
    ),
    "bias": WrongPart(
        "onset", "mm", 1.0, "the onset is found {value} from the dummy's", "fix what is named beside it; if nothing "
        "is: look at the rope, the gap's reading and the positions typed in, then prove again",
    ),
}  # fmt: skip
CONFIDENCE = 1.0 - (1.0 - FAMILY) / len(PARTS)


@dataclass(frozen=True, eq=False, slots=True)
class MeasuredFigure:
    """A figure (...,), or several of one part (..., v), with the scatter's part and the known part of its error."""

    value: Array
    u: Array
    dof: int
    known: Line | None = None

    def lines(self, u: float) -> Sequence[Line]:
        scattered: Line = (u, float(self.dof), "normal")
        return [scattered] if self.known is None else [scattered, self.known]


def measured(figures: ProofFigures, uncertain: Uncertain = Uncertain()) -> dict[str, MeasuredFigure]:
    """Every figure of PARTS. ValueError for too few readings."""
    scale = scale_fit(figures.scale_mm, figures.caliper_mm, figures.scale_forward)
    bar = hung(figures.bar_n, figures.bar_hands_n, figures.bar_saddle_n)
    laid = hung(figures.laid_n, figures.laid_saddle_n, figures.laid_hands_n)
    level, shown = np.asarray(figures.level_deg, float), np.asarray(figures.shown_deg, float)
    rate, true = np.asarray(figures.rate, float), trueness(figures.error_mm)
    s = rate.shape[-1]
    weights: Line = (uncertain.weights, None, "normal")
    return {
        "hands gain": MeasuredFigure(bar.gain_error, bar.u_gain, bar.dof, weights),
        "saddle gain": MeasuredFigure(laid.gain_error, laid.u_gain, laid.dof, weights),
        "stop": MeasuredFigure(bar.lost, bar.u_lost, bar.dof),
        "crosstalk of hands": MeasuredFigure(bar.crosstalk, bar.u_crosstalk, bar.crosstalk_dof),
        "crosstalk of saddle": MeasuredFigure(laid.crosstalk, laid.u_crosstalk, laid.crosstalk_dof),
        "scale offset": MeasuredFigure(
            scale.offset_mm, scale.u_mm[..., 0], scale.dof, (uncertain.datum_mm, None, "rectangular")
        ),
        "scale slope": MeasuredFigure(scale.slope_error, scale.u_mm[..., 1], scale.dof),
        "backlash": MeasuredFigure(scale.backlash_mm, scale.u_mm[..., 2], scale.dof),
        "tilt": _tilt(shown - level, uncertain),
        "flex": MeasuredFigure(
            rate.mean(axis=-1) / (1.0 + bar.gain_error) - 1.0,
            rate.std(axis=-1, ddof=1) / np.sqrt(s), s - 1, (uncertain.rate, None, "normal"),
        ),
        "bias": MeasuredFigure(true.bias_mm, true.u_mm, true.dof, (uncertain.datum_mm, None, "rectangular")),
    }  # fmt: skip


def _tilt(off_deg: Array, uncertain: Uncertain) -> MeasuredFigure:
    """The mean over all attitudes: a level that was zeroed for each is read anew each time."""
    v = off_deg.shape[-1]
    known: Line = (uncertain.level_deg, None, "normal")
    return MeasuredFigure(off_deg.mean(axis=-1), off_deg.std(axis=-1, ddof=1) / np.sqrt(v), v - 1, known)


@dataclass(frozen=True, slots=True)
class ProofFinding:
    """One figure of one proof."""

    part: str
    value: float
    expanded: float
    """Half the width of the simultaneous 95 % interval over all figures."""
    named: bool

    @property
    def shown(self) -> str:
        """Value and uncertainty in the part's unit."""
        part = PARTS[self.part]
        unit = part.unit if part.unit == "°" else f" {part.unit}"
        return f"{part.shown * self.value:+z.2f} ± {part.shown * self.expanded:.2f}{unit}"

    @property
    def sentence(self) -> str:
        part = PARTS[self.part]
        return f"{part.name}: {part.says.format(value=self.shown)}: {part.cure}"


def findings(found: Mapping[str, MeasuredFigure]) -> list[ProofFinding]:
    """The figures of one proof, judged."""
    return [_finding(part, one, float(one.value), float(one.u)) for part, one in found.items()]


def named(found: Mapping[str, MeasuredFigure]) -> dict[str, Any]:
    """Whether each of many proofs, (...,), names a part; by part."""
    each = {
        part: [_finding(part, one, v, u).named for v, u in zip(one.value.ravel(), np.ravel(one.u), strict=True)]
        for part, one in found.items()
    }
    return {part: np.array(flags).reshape(found[part].value.shape) for part, flags in each.items()}


def _finding(part: str, one: MeasuredFigure, value: float, u: float) -> ProofFinding:
    expanded = half_width(one.lines(u), CONFIDENCE)
    return ProofFinding(part, value, expanded, abs(value) > max(expanded, PARTS[part].limit))
