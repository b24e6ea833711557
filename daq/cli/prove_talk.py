"""The conversation of a proof: what to do next, what was typed in, what was read."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from daq.cli.bench_talk import Typed
from daq.cli.telling import KEYBOARD, tell
from daq.refusals import NotNow

if TYPE_CHECKING:
    from daq.live.proving.desk import ProofDesk
    from daq.live.proving.engineer import Engineer
    from daq.live.proving.simulated import SimulatedProof
    from daq.live.session.session import Session
    from daq.proof.sheet import DummyParts, Sheet
    from daq.proof.tasks import Task

TRIES = 20
"""For one reading of a simulated board."""
CAUTION = (
    "Nobody sits on the jig. Eye protection on; both tethers on spring and rope; hands off while a reading is taken. "
    "Not more than 150 N on the bar. Dimensions and safety: firmware_notes/proof_dummy.md."
)
WORDS = (
    "Type the requested values, separated by spaces, then Enter; if none are requested, just Enter. "
    "q leaves; the same command continues."
)


def desk_for(session: Session, kept: Sheet | None, path: Path, dummy: DummyParts, words: dict[str, Any]) -> ProofDesk:
    """A new sheet, or the existing one. ValueError if it belongs to another jig."""
    from daq.live.bench.standing import utc_now
    from daq.live.proving.desk import ProofDesk, save
    from daq.proof.sheet import ProofPlan, Sheet, parts_of

    at = session.acquisition
    parts = parts_of(at.rig, at.calibration.id)
    if kept is not None and (kept.parts, kept.simulated) != (parts, at.simulated):
        raise ValueError(f"{path} was begun on another jig, or a part has changed since: begin a new sheet")
    if kept is not None:
        return ProofDesk(session, kept, path)
    made = Sheet(
        made_by=words["made_by"],
        begun_utc=utc_now(),
        place=words["place"],
        rig=at.rig.name,
        calibration=at.calibration.id,
        parts=parts,
        simulated=at.simulated,
        g_m_s2=at.rig.g_m_s2,
        dummy=dummy,
        plan=ProofPlan(placements=words["placements"], read_s=words["read_s"], gradual=dummy.gradual is not None),
    )
    save(made, path)
    return ProofDesk(session, made, path)


async def walk(desk: ProofDesk, trial: SimulatedProof | None, fault: str | None) -> int:
    """Go through the tasks until none is due or the engineer leaves; returns the exit code."""
    from daq.proof.tasks import BadValue, tasks

    typed, engineer = None if trial else Typed(), _engineer(desk, trial, fault)
    tell(f"{CAUTION}\n{'' if trial else WORDS}".strip())
    number = len(tasks(desk.sheet.plan))
    while (task := desk.task) is not None:
        tell(f"[{len(desk.sheet.latest()) + 1}/{number}] {task.instruction}")
        if engineer is not None and trial is not None:
            done = engineer.does(task)
            trial.put(done, float(np.asarray(engineer.wrong.tilt_deg)))
            await _patiently(desk, task, done.typed)
            continue
        line = await typed.line() if typed else None
        if line in (None, "q"):
            tell(f"left at {len(desk.sheet.latest())} of {number}; the same command goes on")
            return KEYBOARD
        try:
            await desk.done(task, _values(task, line or ""), lambda said: tell(f"  {said}"))
        except (BadValue, NotNow) as error:
            tell(f"  not taken: {error}")
    return 0


async def _patiently(desk: ProofDesk, task: Task, typed: dict[str, float]) -> None:
    """A fast simulated board may be late: the reading is repeated, as a person would do."""
    for _ in range(TRIES):
        with contextlib.suppress(NotNow):
            await desk.done(task, typed)
            return
    raise NotNow("the simulated board is too late at this pace; take a slower one")


def _engineer(desk: ProofDesk, trial: SimulatedProof | None, fault: str | None) -> Engineer | None:
    if trial is None:
        return None
    from daq.live.proving.engineer import Engineer
    from daq.rider.proof_faults import FAULTS as WRONG
    from daq.rider.proof_faults import Wrong

    plank = desk.sheet.dummy.plank(trial.session.acquisition.rig)
    return Engineer(trial.rng, desk.sheet, plank, Wrong() if fault is None else WRONG[fault])


def _values(task: Task, line: str) -> dict[str, float]:
    """What was typed, by name. BadValue."""
    from daq.proof.tasks import BadValue

    asked = " and ".join(task.typed) or "nothing, only Enter"
    try:
        numbers = [float(word.replace(",", ".")) for word in line.split()]
    except ValueError as error:
        raise BadValue(f"expected {asked}, got {line!r}") from error
    if len(numbers) != len(task.typed):
        raise BadValue(f"expected {asked}, got {line!r}")
    return dict(zip(task.typed, numbers, strict=True))
