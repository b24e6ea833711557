"""The tasks of a proof, one after the other, and whether a typed value is plausible."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from daq.measure.calibration.points import buoyancy_factor
from daq.proof.dummy import BAR_LIMIT_N, Springs, onset_of_slack
from daq.proof.scale import CALIPER_WITHIN_MM, ways_of
from daq.proof.sheet import ProofPlan, ProofReading, Sheet
from daq.refusals import BadValue
from daq.rig import Rig

CAUTION = (
    "Nobody sits on the jig. Eye protection on; both tethers on springs and rope; hands off while a reading is taken. "
    "Not more than 150 N on the bar. Dimensions and safety: firmware_notes/proof_dummy.md."
)
ATTITUDES = ("level", "climb")
NEEDED = ("hands", "saddle", "tilt")
GRADUAL = "gradual"
ENDS_MM = 15.0
"""The onset lies this far or more within the outermost positions."""


@dataclass(frozen=True, slots=True)
class ProofTask:
    """One thing to do."""

    id: str
    stage: str
    """The part of the proof it belongs to."""
    instruction: str
    typed: tuple[str, ...] = ()
    """Names of the values to type in, each with its unit at the end."""
    reads: bool = True
    setback_mm: float | None = None
    """Where the scale is set to."""
    forward: bool = True
    """How the saddle comes there."""


def lacks(rig: Rig) -> list[str]:
    """The roles a proof needs that no channel of this rig has."""
    has = {channel.role for channel in rig.channels}
    return [role for role in NEEDED if role not in has]


@lru_cache(maxsize=8)
def tasks(plan: ProofPlan) -> tuple[ProofTask, ...]:
    """All of a proof in order: asked after every reading which is due."""
    return tuple(_every(plan))


@dataclass(frozen=True, slots=True)
class ProofStage:
    """A part of the proof: how much of it is done."""

    name: str
    done: int
    of: int


def stages(sheet: Sheet) -> list[ProofStage]:
    """The parts of a proof in order."""
    done, found = sheet.latest(), dict[str, list[bool]]()
    for task in tasks(sheet.plan):
        found.setdefault(task.stage, []).append(task.id in done)
    return [ProofStage(name, sum(each), len(each)) for name, each in found.items()]


def due(sheet: Sheet) -> ProofTask | None:
    """The first that is not done yet; None when all are."""
    done = sheet.latest()
    return next((task for task in tasks(sheet.plan) if task.id not in done), None)


def _every(plan: ProofPlan) -> Iterator[ProofTask]:
    yield ProofTask(
        "empty",
        "zero",
        "Take everything off bar and saddle, the jig level, nobody on it. The zero is taken.",
        reads=False,
    )
    for forward in (True, False):
        for reading_mm in plan.scale_mm if forward else plan.scale_mm[::-1]:
            way = _way(forward)
            yield ProofTask(
                f"scale/{'forward' if forward else 'back'}/{reading_mm:g}", "setback scale",
                f"{way} set the saddle to {reading_mm:g} mm on its scale, tighten it, and measure from the BB's axis "
                "to the saddle's reference with the caliper.",
                ("caliper_mm",), reads=False, setback_mm=reading_mm, forward=forward,
            )  # fmt: skip
    for on, masses in (("bar", plan.bar_kg), ("saddle", plan.saddle_kg)):
        for i, kg in enumerate((0.0, *masses, *masses[-2::-1], 0.0)):
            what = f"Hang {kg:g} kg on the middle of the bar" if on == "bar" else f"Lay {kg:g} kg on the saddle"
            yield ProofTask(
                f"{on}/{i}",
                f"weights on the {on}",
                f"{what if kg else f'Take all weights off the {on}'}, and let it come to rest.",
            )
    for placement in range(1, plan.placements + 1):
        stage = f"placement {placement} of {plan.placements}"
        yield ProofTask(
            f"place/{placement}", f"{stage}, level",
            f"Placement {placement} of {plan.placements}: take the dummy off, hook it in again with both tethers, set "
            "the saddle so that the ball hangs free. Type in the saddle by caliper and the gap under the ball.",
            ("caliper_mm", "gap_mm"), reads=False,
        )  # fmt: skip
        for attitude in ATTITUDES:
            at = f"{stage}, {_attitude(plan, attitude)}"
            yield _tilt(plan, f"tilt/{placement}/{attitude}", at, attitude)
            yield from _sweep(plan, f"rise/{placement}/{attitude}", at, "")
    yield _tilt(plan, "tilt/end/level", "level again", "level")
    if plan.gradual:
        yield ProofTask(
            f"place/{GRADUAL}", "gradual rise",
            "Hook in all plates, each with its springs and the gap measured before, both tethers on, the saddle so "
            "that the ball hangs free. Type in the saddle by caliper and the gap under the ball to the first plate.",
            ("caliper_mm", "gap_mm"), reads=False,
        )  # fmt: skip
        yield from _sweep(plan, GRADUAL, "gradual rise", "All plates: ")
    yield from _sweep(plan, "flat", "nothing pulls", "The rope unhooked, tethers on: ")
    yield from _sweep(
        plan,
        "loaded",
        "pulls throughout",
        "The soft springs, 1.2 N/mm together at most, the rope short, so that it pulls from the rearmost position on: ",
    )


def _attitude(plan: ProofPlan, attitude: str) -> str:
    return "level" if attitude == "level" else f"{plan.gradient_pct:g} % up"


def _tilt(plan: ProofPlan, name: str, stage: str, attitude: str) -> ProofTask:
    to = _attitude(plan, attitude)
    return ProofTask(
        name, stage, f"Set the jig {to} and type in what an independent level shows, nose up positive.", ("level_deg",)
    )


def _sweep(plan: ProofPlan, name: str, stage: str, first: str) -> Iterator[ProofTask]:
    for i, (at_mm, forward) in enumerate(zip(plan.positions_mm, _ways(plan), strict=True)):
        yield ProofTask(
            f"{name}/{i}",
            stage,
            f"{first}{_way(forward)} set the saddle to {at_mm:g} mm on its scale, tighten it, hands off the jig.",
            setback_mm=at_mm,
            forward=forward,
        )


def _ways(plan: ProofPlan) -> list[bool]:
    return [bool(way) for way in ways_of(np.array(plan.positions_mm))]


def _way(forward: bool) -> str:
    return "Coming forward," if forward else "Going back,"


def check(sheet: Sheet, task: ProofTask, reading: ProofReading) -> None:
    """Raises BadValue if a typed value is implausible, or would overload the dummy."""
    typed = reading.typed
    if set(typed) != set(task.typed):
        raise BadValue(f"expected {' and '.join(task.typed) or 'no value'}, got {', '.join(typed) or 'none'}")
    if reading.hands_n is not None and abs(reading.hands_n) > BAR_LIMIT_N:
        raise BadValue(
            f"{reading.hands_n:.0f} N on the bar; the dummy's limit is {BAR_LIMIT_N:g} N: go back with the saddle at "
            "once, then lengthen the rope or take softer springs"
        )
    if "level_deg" in typed and reading.tilt_deg is not None:
        off = abs(typed["level_deg"] - reading.tilt_deg)
        if not off < 5.0:
            raise BadValue(f"the level says {typed['level_deg']:g}°, the jig {reading.tilt_deg:.2f}°: read it again")
    if (at_mm := task.setback_mm) is not None and abs(typed.get("caliper_mm", at_mm) - at_mm) > CALIPER_WITHIN_MM:
        raise BadValue(
            f"{typed['caliper_mm']:g} mm by caliper and {at_mm:g} mm on the scale are more than "
            f"{CALIPER_WITHIN_MM:g} mm apart: measure again, from the BB's axis back"
        )
    if "gap_mm" in typed:
        springs = sheet.dummy.gradual_springs if task.id.endswith(GRADUAL) else None
        _check_placement(sheet, typed["caliper_mm"], typed["gap_mm"], springs or sheet.dummy.springs)


def _check_placement(sheet: Sheet, caliper_mm: float, gap_mm: float, springs: Springs) -> None:
    if not gap_mm > 0.0:
        raise BadValue("gap_mm: expected a gap under the ball, which has to hang free: go back with the saddle")
    onset_mm = float(onset_of_slack(caliper_mm, gap_mm))
    rear, front = max(sheet.plan.positions_mm), min(sheet.plan.positions_mm)
    if not front + ENDS_MM <= onset_mm <= rear - ENDS_MM:
        raise BadValue(
            f"the dummy's onset would be {onset_mm:.1f} mm; expected {front + ENDS_MM:g} to {rear - ENDS_MM:g} mm, "
            "well within the positions: change the rope's length"
        )
    if onset_mm - max(springs.later_mm) < front:
        raise BadValue(
            f"the last plate would be met at {onset_mm - max(springs.later_mm):.1f} mm, ahead of the foremost "
            f"position, {front:g} mm: a shorter rope"
        )
    most_n = float(springs.hands_n(front, onset_mm))
    if most_n > BAR_LIMIT_N:
        raise BadValue(
            f"at {front:g} mm the dummy would pull {most_n:.0f} N; its limit is {BAR_LIMIT_N:g} N: a longer rope, or "
            "softer springs"
        )


def hung_n(sheet: Sheet, on: str) -> list[float]:
    """The weights of bar or saddle in the order of their tasks, N, in air."""
    masses = sheet.plan.bar_kg if on == "bar" else sheet.plan.saddle_kg
    per_kg = sheet.g_m_s2 * buoyancy_factor()
    return [kg * per_kg for kg in (0.0, *masses, *masses[-2::-1], 0.0)]
