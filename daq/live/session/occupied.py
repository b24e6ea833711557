"""Who has the jig: a sweep, the guided calibration, a proof, or nobody."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from daq.refusals import NotNow, See

By = Literal["sweep", "bench", "proof"]
_SAID: dict[By, str] = {
    "sweep": "a sweep is under way; stop or finish it before",
    "bench": "a guided calibration is under way; finish, stop or leave it before",
    "proof": "the jig is being put to the proof; finish or leave that before",
}
_THERE: dict[By, See] = {"sweep": "ride", "bench": "bench", "proof": "proof"}


class Occupied:
    """Asked before anything that would disturb whoever has the jig."""

    def __init__(self, **asked: Callable[[], bool]) -> None:
        """sweep, bench, proof: whether this one has it now."""
        self._asked = asked

    def taken_by(self) -> By | None:
        """Who has it now."""
        return next((name for name in _SAID if self._asked[name]()), None)

    def refuse(self, what: str, *, by: tuple[By, ...] = ("sweep", "bench", "proof")) -> None:
        """NotNow while one of these has the jig; what: what cannot be done meanwhile, such as "a zero is taken"."""
        taken_by = self.taken_by()
        if taken_by in by:
            raise NotNow(f"{_SAID[taken_by]} {what}", see=_THERE[taken_by])
