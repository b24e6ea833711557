"""A finished sheet judged: every sweep's answer against the dummy, bias and repeatability, what is wrong with the jig.

Each sweep is treated like a rider's: the estimator, then the tests of validity. A dummy has no crank torque, and none
is required.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from daq.proof.dummy import onset_of_slack
from daq.proof.findings import ProofFigures, ProofFinding, findings, measured
from daq.proof.scale import calibrated_scale
from daq.proof.sheet import Sheet
from daq.proof.tasks import ATTITUDES, GRADUAL, due, hung_n, tasks
from daq.proof.trueness import Trueness, expanded_mm, interval_held, too_many_missed, trueness
from daq.setback_scale import SetbackScale
from daq.sweep.onset import onset
from daq.sweep.validity.conditions import Conditions
from daq.sweep.validity.judged import judged
from daq.values import NAN, Onset, StepMean, Verdict
from daq.words import counted

RISES_N_PER_MM = tuple(float(0.02 * 1.25**i) for i in range(24))
"""Of which the smallest is told that is found in every sweep's scatter."""


class NotDone(ValueError):
    """The sheet is not finished."""


@dataclass(frozen=True, slots=True)
class Answer:
    """One sweep with the dummy hooked in."""

    placement: int
    attitude: str
    truth_mm: float
    onset: Onset
    error_mm: float
    """Found minus the dummy's; from the least-squares bend if no onset was named."""
    held: bool
    """Whether the 95 % interval contained the truth; False without an onset."""


@dataclass(frozen=True, slots=True)
class Bend:
    """The sweep whose rise begins at one plate and is whole at the last."""

    rear_mm: float
    front_mm: float
    onset: Onset

    @property
    def found(self) -> bool:
        """Whether an onset is named whose interval reaches into the bend."""
        if self.onset.verdict is not Verdict.ONSET or self.onset.interval_95_mm is None:
            return False
        low_mm, high_mm = self.onset.interval_95_mm
        return low_mm <= self.rear_mm and high_mm >= self.front_mm


@dataclass(frozen=True, slots=True)
class Proof:
    """The verdict."""

    sheet: Sheet
    answers: tuple[Answer, ...]
    trueness: Trueness
    expanded_mm: float
    """Half the 95 % interval of the bias."""
    scale: SetbackScale
    findings: tuple[ProofFinding, ...]
    flat: Onset
    loaded: Onset
    gradual: Bend | None
    """Of the sweep with several plates; None for a dummy that has none."""
    smallest_rise_n_per_mm: float | None
    """The smallest rise found in every sweep's scatter; None if none of those tried is."""
    failed: tuple[str, ...]
    """One sentence for each reason; empty if the jig is proved."""

    @property
    def passed(self) -> bool:
        return not self.failed


def proved(sheet: Sheet) -> Proof:
    """The proof of a finished sheet. NotDone."""
    if (task := due(sheet)) is not None:
        raise NotDone(f"the proof is not finished: next is {task.id}")
    answers = tuple(
        _answer(sheet, placement, attitude)
        for placement in range(1, sheet.plan.placements + 1)
        for attitude in ATTITUDES
    )
    flat, loaded = (_asked(_steps(sheet, name)) for name in ("flat", "loaded"))
    gradual = _bend(sheet)
    figures = _figures(sheet, answers)
    found = findings(measured(figures, sheet.dummy.uncertain))
    bias = trueness(figures.error_mm)
    scale = calibrated_scale(
        figures.scale_mm, figures.caliper_mm, figures.scale_forward, u_datum_mm=sheet.dummy.u_datum_mm
    )
    return Proof(
        sheet=sheet,
        answers=answers,
        trueness=bias,
        expanded_mm=expanded_mm(bias, sheet.dummy.u_datum_mm),
        scale=scale,
        findings=tuple(found),
        flat=flat,
        loaded=loaded,
        gradual=gradual,
        smallest_rise_n_per_mm=_smallest_rise(sheet, answers),
        failed=tuple(_failed(answers, found, flat, loaded, gradual)),
    )


def _failed(
    answers: Sequence[Answer], found: Sequence[ProofFinding], flat: Onset, loaded: Onset, gradual: Bend | None
) -> list[str]:
    reasons = [one.sentence for one in found if one.named]
    unnamed = [one for one in answers if one.onset.verdict is not Verdict.ONSET]
    if unnamed:
        first = unnamed[0]
        reasons.append(
            f"in {len(unnamed)} of {counted(len(answers), 'sweep')} no onset was named though the dummy has one; "
            f"placement {first.placement}, {first.attitude}: {'; '.join(first.onset.reasons[:1])}"
        )
    missed = sum(not one.held for one in answers)
    if too_many_missed(missed, len(answers)):
        reasons.append(f"{missed} of {counted(len(answers), 'interval')} of 95 % do not hold the dummy's onset")
    for what, answer in (("nothing pulls", flat), ("it pulls throughout", loaded)):
        if answer.verdict is Verdict.ONSET:
            reasons.append(f"an onset is named where {what}: see that rope and tethers hang free and nothing touches")
    if gradual is not None and not gradual.found:
        reasons.append(
            f"the gradual rise between {gradual.rear_mm:.1f} and {gradual.front_mm:.1f} mm was not found there: see "
            "that every plate hangs at its gap"
        )
    return reasons


def _bend(sheet: Sheet) -> Bend | None:
    if not sheet.plan.gradual or sheet.dummy.gradual is None:
        return None
    rear_mm = _onset_placed(sheet, GRADUAL)
    return Bend(rear_mm, rear_mm - sheet.dummy.gradual.later_mm[-1], _asked(_steps(sheet, GRADUAL)))


def _onset_placed(sheet: Sheet, placement: int | str) -> float:
    typed = sheet.latest()[f"place/{placement}"].typed
    return float(onset_of_slack(typed["caliper_mm"], typed["gap_mm"]))


def _answer(sheet: Sheet, placement: int, attitude: str) -> Answer:
    truth_mm = _onset_placed(sheet, placement)
    found = _asked(_steps(sheet, f"rise/{placement}/{attitude}"))
    place_mm = found.least_squares_mm if found.onset_mm is None else found.onset_mm
    held = found.onset_mm is not None and found.interval_95_mm is not None
    if held and found.onset_mm is not None and found.interval_95_mm is not None:
        held = interval_held(found.onset_mm, found.interval_95_mm, truth_mm, sheet.dummy.u_truth_mm)
    return Answer(placement, attitude, truth_mm, found, NAN if place_mm is None else place_mm - truth_mm, held)


def _asked(steps: Sequence[StepMean]) -> Onset:
    """As a rider's sweep is answered and judged."""
    conditions = Conditions(calibrated=True, dummy=True, order="out and back", protocol="bar fixed", watched=True)
    return judged(onset(steps), steps, conditions)


def _steps(sheet: Sheet, name: str) -> list[StepMean]:
    read, steps = sheet.latest(), []
    for task in tasks(sheet.plan):
        if task.id.rpartition("/")[0] == name and task.setback_mm is not None:
            one = read[task.id]
            steps.append(
                StepMean(
                    setback_mm=task.setback_mm,
                    hand_load_n=_number(one.hands_n),
                    se_n=NAN,
                    t_min=one.t_min,
                    crank_torque_nm=NAN,
                    saddle_load_n=_number(one.saddle_n),
                    tilt_deg=_number(one.tilt_deg),
                    u_setback_mm=sheet.dummy.u_set_mm,
                )
            )
    return steps


def _number(value: float | None) -> float:
    return NAN if value is None else value


def _figures(sheet: Sheet, answers: Sequence[Answer]) -> ProofFigures:
    read, every = sheet.latest(), tasks(sheet.plan)
    scale = [task for task in every if task.id.startswith("scale/")]
    tilts = [read[task.id] for task in every if task.id.startswith("tilt/")]
    hung = {
        on: [read[f"{on}/{i}"] for i in range(len(hung_n(sheet, on)))] for on in ("bar", "saddle")
    }  # fmt: skip
    n = len(ATTITUDES)
    rate = sheet.dummy.rate_n_per_mm * np.cos(np.radians(sheet.dummy.angle_deg))
    slopes = [one.onset.slope_n_per_mm for one in answers]
    known = [slope for slope in slopes if np.isfinite(slope)]
    return ProofFigures(
        scale_mm=np.array([task.setback_mm for task in scale], dtype=float),
        scale_forward=np.array([task.forward for task in scale]),
        caliper_mm=[read[task.id].typed["caliper_mm"] for task in scale],
        bar_n=np.array(hung_n(sheet, "bar")),
        bar_hands_n=[_number(one.hands_n) for one in hung["bar"]],
        bar_saddle_n=[_number(one.saddle_n) for one in hung["bar"]],
        laid_n=np.array(hung_n(sheet, "saddle")),
        laid_hands_n=[_number(one.hands_n) for one in hung["saddle"]],
        laid_saddle_n=[_number(one.saddle_n) for one in hung["saddle"]],
        level_deg=[one.typed["level_deg"] for one in tilts],
        shown_deg=[_number(one.tilt_deg) for one in tilts],
        error_mm=np.array([one.error_mm for one in answers]).reshape(-1, n),
        rate=np.array(known if len(known) > 1 else [rate, rate]) / rate,
    )


def _smallest_rise(sheet: Sheet, answers: Sequence[Answer]) -> float | None:
    """The smallest of RISES_N_PER_MM that is found, its place held, when it is put into every sweep's own scatter."""
    sweeps = [_steps(sheet, f"rise/{one.placement}/{one.attitude}") for one in answers]
    scatter = [_scatter(steps, one.truth_mm + one.error_mm) for steps, one in zip(sweeps, answers, strict=True)]
    low, high = 0, len(RISES_N_PER_MM)
    while low < high:
        middle = (low + high) // 2
        if _found(sweeps, scatter, [one.truth_mm for one in answers], RISES_N_PER_MM[middle]):
            high = middle
        else:
            low = middle + 1
    return RISES_N_PER_MM[low] if low < len(RISES_N_PER_MM) else None


def _scatter(steps: Sequence[StepMean], bend_mm: float) -> list[float]:
    at = np.array([step.setback_mm for step in steps])
    y = np.array([step.hand_load_n for step in steps])
    design = np.column_stack([np.ones(len(at)), at, np.maximum(bend_mm - at, 0.0)])
    off = y - design @ np.linalg.lstsq(design, y, rcond=None)[0]
    return [float(one) for one in off]


def _found(
    sweeps: Sequence[Sequence[StepMean]], scatter: Sequence[Sequence[float]], truths_mm: Sequence[float], rise: float
) -> bool:
    for steps, offs, truth_mm in zip(sweeps, scatter, truths_mm, strict=True):
        answer = onset(
            [
                replace(step, hand_load_n=rise * max(truth_mm - step.setback_mm, 0.0) + off)
                for step, off in zip(steps, offs, strict=True)
            ]
        )
        if answer.interval_95_mm is None or not answer.interval_95_mm[0] <= truth_mm <= answer.interval_95_mm[1]:
            return False
    return True
