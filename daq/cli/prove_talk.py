"""The conversation of a proof: what to do next, what was typed in, what was read."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

from daq.cli.bench_talk import Typed
from daq.cli.telling import KEYBOARD, tell
from daq.refusals import BadValue, NotNow

if TYPE_CHECKING:
    from daq.live.session.proof_desk import ProofDesk
    from daq.proof.tasks import ProofTask

TRIES = 20
"""For one reading of a simulated board."""
WORDS = (
    "Type the requested values, separated by spaces, then Enter; if none are requested, just Enter. "
    "r repeats the last task; q leaves; the same command continues."
)


async def walk(desk: ProofDesk, *, simulated: bool) -> int:
    """Go through the tasks until none is due or the engineer leaves; returns the exit code."""
    from daq.proof.tasks import CAUTION, tasks

    work, typed = desk.under_way(), None if simulated else Typed()
    tell(f"{CAUTION}\n{'' if simulated else WORDS}".strip())
    while (task := work.task) is not None:
        done, of = len(work.sheet.latest()), len(tasks(work.sheet.plan))
        tell(f"[{min(done + 1, of)}/{of}, {task.stage}] {task.instruction}")
        if typed is None:
            await _patiently(desk, work.shown)
            continue
        line = await typed.line()
        if line in (None, "q"):
            tell(f"left at {done} of {of}; the same command goes on")
            return KEYBOARD
        try:
            if line == "r":
                desk.again()
            else:
                await desk.done(_values(task, line or ""))
                tell(f"  {work.told}" if work.told else "  kept")
        except (BadValue, NotNow) as error:
            tell(f"  not taken: {error}")
    return 0


async def _patiently(desk: ProofDesk, typed: Mapping[str, float]) -> None:
    """A fast simulated board may be late: the reading is repeated, as a person would do."""
    for _ in range(TRIES):
        with contextlib.suppress(NotNow):
            await desk.done(typed)
            return
    raise NotNow("the simulated board is too late at this pace; take a slower one")


def _values(task: ProofTask, line: str) -> dict[str, float]:
    """What was typed, by name. BadValue."""
    asked = " and ".join(task.typed) or "nothing, only Enter"
    try:
        numbers = [float(word.replace(",", ".")) for word in line.split()]
    except ValueError as error:
        raise BadValue(f"expected {asked}, got {line!r}") from error
    if len(numbers) != len(task.typed) or not all(math.isfinite(number) for number in numbers):
        raise BadValue(f"expected {asked}, got {line!r}")
    return dict(zip(task.typed, numbers, strict=True))
