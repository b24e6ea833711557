"""How one test says what it found."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from daq.values import NAN, Result, Validity
from daq.words import listed


@dataclass(frozen=True, slots=True)
class Number:
    """What a test measured."""

    value: float = NAN
    unit: str = ""
    interval_95: tuple[float, float] | None = None


NONE = Number()


def passed(test: str, means: str, found: Number = NONE) -> Validity:
    """The test was made and nothing is wrong."""
    return Validity(test, found.value, found.unit, _known(found.interval_95), Result.PASSED, False, means, "")


def failed(
    test: str,
    means: str,
    cure: str,
    found: Number = NONE,
    *,
    forbids: bool = True,
    ride_mm: Sequence[float] = (),
) -> Validity:
    """The test was made and something is wrong. ride_mm: positions to ride again, told behind the cure."""
    again = again_said(ride_mm)
    interval = _known(found.interval_95)
    return Validity(
        test, found.value, found.unit, interval, Result.FAILED, forbids, means, cure + again, tuple(ride_mm)
    )


def again_said(ride_mm: Sequence[float]) -> str:
    """The end of a cure that asks to ride these positions again."""
    return f", and ride {places_said(ride_mm)} mm again" if ride_mm else ""


def places_said(setbacks_mm: Iterable[float]) -> str:
    """Setbacks in words, each once, without their unit."""
    return listed(list(dict.fromkeys(f"{mm:g}" for mm in setbacks_mm)))


def not_made(test: str, means: str, cure: str = "", *, forbids: bool = False) -> Validity:
    """The test could not be made. means: a few words, then after a colon what is missing."""
    return Validity(test, NAN, "", None, Result.NOT_MADE, forbids, means, cure)


def _known(interval: tuple[float, float] | None) -> tuple[float, float] | None:
    return interval if interval is not None and all(map(math.isfinite, interval)) else None
