"""What else could have caused the curve, or the complaint: reported before anything is blamed on setback."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from daq.fit.height import KNEE_DEG, height_said, references
from daq.fit.intake import Intake
from daq.fit.prechecks import Measured
from daq.fit.ridden import Ridden
from daq.measure.geometry import BAR_FIXED
from daq.sweep.evidence import TORQUE_SPREAD, step_torques, torque_effect, torque_went_along
from daq.sweep.pooled import pooled
from daq.sweep.setting import TILT_CHANGE_DEG
from daq.values import Z_95, Result
from daq.words import counted

HEIGHT_OFF_MM = 20.0
"""A height further than this from every inseam rule has to be checked first. Common practice, no source."""
TILT_DEG = 3.0
"""A saddle tilted by more than this moves load by itself. Common practice, no source."""
FEWEST_STEPS = 4
"""Fewer tell no correlation."""


class Disturbs(StrEnum):
    """Whether a confounder may have had an effect."""

    MAY = "may disturb"
    IN_ORDER = "in order"
    NOT_KNOWN = "not known"


_DISTURBS = {
    Result.PASSED: Disturbs.IN_ORDER,
    Result.FAILED: Disturbs.MAY,
    Result.NOT_MADE: Disturbs.NOT_KNOWN,
}


@dataclass(frozen=True, slots=True)
class Confounder:
    """One line."""

    title: str
    disturbs: Disturbs
    said: str


def confounders(intake: Intake, measured: Measured, sweep: Ridden | None) -> tuple[Confounder, ...]:
    """All, in triage order: feet, height, tilt, reach; then what the sweep itself shows."""
    found = [_cleats(measured), _height(intake, measured), _tilt(measured, sweep)]
    if sweep is not None:
        again = _tested("First position again", "first position again", sweep)
        found += [_reach(sweep), _torque(sweep), again, _marks(sweep)]
    return tuple(found)


def _cleats(measured: Measured) -> Confounder:
    if measured.cleats_set:
        return Confounder("Cleats", Disturbs.IN_ORDER, "set and tight")
    return Confounder("Cleats", Disturbs.NOT_KNOWN, "not looked at")


def _height(intake: Intake, measured: Measured) -> Confounder:
    said = height_said(measured.height_mm, intake.inseam_mm, intake.crank_mm, measured.knee_deg)
    if measured.height_mm is None or (intake.inseam_mm is None and measured.knee_deg is None):
        return Confounder("Saddle height", Disturbs.NOT_KNOWN, said)
    offs = [one.off_mm for one in references(intake.inseam_mm, intake.crank_mm, measured.height_mm)]
    far = bool(offs) and all(off is not None and abs(off) > HEIGHT_OFF_MM for off in offs)
    knee = measured.knee_deg
    bent = knee is not None and not KNEE_DEG[0] <= knee <= KNEE_DEG[1]
    return Confounder("Saddle height", Disturbs.MAY if far or bent else Disturbs.IN_ORDER, said)


def _tilt(measured: Measured, sweep: Ridden | None) -> Confounder:
    tilts = (
        [] if sweep is None else [one["saddle_tilt_deg"] for one in sweep.notes.values() if "saddle_tilt_deg" in one]
    )
    found = None if sweep is None else _tested("Saddle tilt", "saddle tilt", sweep)
    if found is not None and found.disturbs is Disturbs.MAY:
        return found
    if measured.saddle_tilt_deg is None:
        return Confounder("Saddle tilt", Disturbs.NOT_KNOWN, "not measured")
    said = f"{measured.saddle_tilt_deg:+z.1f}° (nose up +)"
    spread = max(tilts) - min(tilts) if len(tilts) > 1 else 0.0
    if len(tilts) > 1:
        said += f", {spread:.1f}° apart over {counted(len(tilts), 'step')}"
    else:
        said += ", not read again during the steps"
    bad = abs(measured.saddle_tilt_deg) > TILT_DEG or spread > TILT_CHANGE_DEG
    return Confounder("Saddle tilt", Disturbs.MAY if bad else Disturbs.IN_ORDER, said)


def _reach(sweep: Ridden) -> Confounder:
    """As the bar was really set: that the plan keeps the reach does not say that the bar went along."""
    found = _tested("Reach", "reach", sweep)
    if sweep.plan.protocol == "bar fixed" and found.disturbs is not Disturbs.MAY:
        return Confounder("Reach", Disturbs.MAY, BAR_FIXED)
    return found


def _tested(title: str, test: str, sweep: Ridden) -> Confounder:
    """What the sweep's own test of validity found."""
    found = [one for one in (() if sweep.onset is None else sweep.onset.validity) if one.test == test]
    if not found:
        return Confounder(title, Disturbs.NOT_KNOWN, "not tested")
    return Confounder(title, _DISTURBS[found[0].result], found[0].means)


def _torque(sweep: Ridden) -> Confounder:
    torques = np.array([step.crank_torque_nm for step in sweep.steps])
    unknown = int(np.isnan(torques).sum())
    if len(torques) < FEWEST_STEPS:
        return Confounder("Crank torque", Disturbs.NOT_KNOWN, f"not told by fewer than {FEWEST_STEPS} steps")
    if unknown == len(torques):
        return Confounder("Crank torque", Disturbs.NOT_KNOWN, "unknown: no power sensor was read")
    if unknown:
        steps = counted(len(torques), "step")
        return Confounder("Crank torque", Disturbs.NOT_KNOWN, f"unknown at {unknown} of {steps}")
    setbacks = np.array([step.setback_mm for step in sweep.steps])
    torques = step_torques(sweep.steps, pooled(sweep.steps))
    said = f"mean {torques.mean():.1f} N m, steps {np.ptp(torques):.1f} N m apart at most; {_torque_effect(sweep)}"
    if torques.std() == 0.0 or setbacks.std() == 0.0:
        return Confounder("Crank torque", Disturbs.IN_ORDER, said)
    r = float(np.corrcoef(setbacks, torques)[0, 1])
    said += f", correlation with setback {r:+z.2f}"
    return Confounder("Crank torque", Disturbs.MAY if torque_went_along(setbacks, torques) else Disturbs.IN_ORDER, said)


def _torque_effect(sweep: Ridden) -> str:
    """The effect of one more newton metre on this rider's hand load, from the strokes of the sweep if they show it."""
    n_per_nm, sd = torque_effect(pooled(sweep.steps))
    half, assumed = Z_95 * sd, (sd / TORQUE_SPREAD) ** 2
    return (
        f"1 N m more changes the hand load by {n_per_nm:+z.1f} N (95 % {n_per_nm - half:+z.1f} to "
        f"{n_per_nm + half:+z.1f} N; {100 * (1.0 - assumed):.0f} % from these strokes, the rest assumed)"
    )


def _marks(sweep: Ridden) -> Confounder:
    if not sweep.marks:
        return Confounder("Marked in passing", Disturbs.IN_ORDER, "nothing")
    return Confounder("Marked in passing", Disturbs.MAY, _counted(sweep.marks))


def _counted(marks: Sequence[str]) -> str:
    return ", ".join(f"{mark} ({marks.count(mark)}x)" for mark in dict.fromkeys(marks))
