"""Kinds of findings about a reading before it is accepted: each says what is wrong, and what to do."""

from __future__ import annotations

import enum
from dataclasses import dataclass


class Wrong(enum.StrEnum):
    """Kinds of findings."""

    TOO_SHORT = "too-short"
    STILL_WARMING = "still-warming"
    UNSTABLE = "unstable"
    SATURATED = "saturated"
    WEIGHT_LEFT_ON = "weight-left-on"
    WEIGHT_FORGOTTEN = "weight-forgotten"
    WRONG_ORDER = "wrong-order"
    WRONG_UNIT = "wrong-unit"
    WRONG_CELL = "wrong-cell"
    LOAD_ELSEWHERE = "load-elsewhere"
    MOVED_FIXTURE = "moved-fixture"
    WRONG_TILT = "wrong-tilt"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is wrong with a reading."""

    kind: Wrong
    sentence: str

    @property
    def may_be_accepted(self) -> bool:
        return self.kind is not Wrong.SATURATED
