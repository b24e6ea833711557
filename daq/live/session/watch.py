"""Watches for what is wrong: it is told once when it begins and once when it clears, not every second, and noted with
the sweep if the scans do not show it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from daq.live.session.listening import Tell, fault_of, log, safely
from daq.live.session.occupied import By
from daq.measure.calibration.doubts import Doubt, Doubtful
from daq.measure.calibration.status import CalibrationStatus
from daq.measure.cell_checks import PLUGS
from daq.refusals import See

ALARMING = "store"
"""A fault in one of these may cost the step being ridden."""
ZERO_MOVED = "(zero moved)"
"""How the name of such a doubt ends."""
TO_CALIBRATE = (Doubt.NOT_CALIBRATED, Doubt.NO_BUDGET, Doubt.ABOVE_SPAN)
"""What another calibration cures, and nothing else."""


class Watch:
    """What was wrong when it was last looked."""

    def __init__(
        self,
        *,
        troubles: Callable[[], Mapping[str, str]],
        doubts: Callable[[], Sequence[Doubtful]],
        taken_by: Callable[[], By | None],
        status: Callable[[], CalibrationStatus],
        sweep: Callable[[], int | None],
        notice: Tell,
        spoiled: Callable[[str, str], None],
    ) -> None:
        """troubles: a sentence for each part, empty if nothing is wrong. doubts: about the loads. taken_by: who has the
        jig. status: of the calibration. sweep: its number. notice: gets level and sentence. spoiled: gets part and
        sentence, for the sweep."""
        self._troubles, self._doubts, self._taken_by, self._status = troubles, doubts, taken_by, status
        self._sweep, self._notice, self._spoiled = sweep, notice, spoiled
        self._said: Mapping[str, str] = {}
        self._standing: CalibrationStatus | None = None
        self._faults: set[tuple[str, int | None]] = set()
        """Of the program, told already."""

    def look(self) -> None:
        """Report new faults and those that have cleared, and when the calibration has expired."""
        doubts = {f"{one.channel} ({str(one.kind).replace('-', ' ')})": one for one in self._doubts()}
        said = {name: one.sentence.removeprefix(f"{one.channel}: ") for name, one in doubts.items()}
        troubles = {**self._troubles(), **said}
        if self._taken_by() in ("bench", "proof"):
            troubles.pop(PLUGS, None)
        for part, sentence in self._changes(troubles, doubts).items():
            if part.endswith(ZERO_MOVED):
                self._spoiled(part, sentence)
        before, self._standing = self._standing, self._status()
        if before is not None and before.standing is not self._standing.standing:
            level = "info" if self._standing.allows_verdict else "caution"
            self._notice(level, self._standing.sentence, see="bench")

    def failed(self, error: Exception) -> None:
        """What arrived could not be computed: told and noted with the sweep, once for each kind and sweep."""
        said = (
            f"what arrived could not all be computed, by a fault of this program ({fault_of(error)}): a sweep it "
            "belongs to has no verdict. Report it with the log"
        )
        if (said, self._sweep()) not in self._faults:
            self._faults.add((said, self._sweep()))
            log.error("what arrived could not be computed", exc_info=error)
            self._notice("alarm", said)
            safely(self._spoiled, "program", said)

    def _changes(self, troubles: Mapping[str, str], doubts: Mapping[str, Doubtful]) -> dict[str, str]:
        """Report what has changed; returns the new faults. doubts: those among them that are about the loads."""
        new = {}
        for name in dict.fromkeys((*self._said, *troubles)):
            trouble = troubles.get(name, "")
            if trouble != self._said.get(name, ""):
                if trouble:
                    new[name] = trouble
                level = "info" if not trouble else "alarm" if name == ALARMING else "caution"
                see: See | None = "bench" if name in doubts and doubts[name].kind in TO_CALIBRATE else None
                self._notice(level, f"{name}: {trouble or 'all well again'}", see=see)
        self._said = dict(troubles)
        return new
