"""The board a calibration was made with: its counts per newton hold at its gains, and at no others.

Counts calibrated at a gain of 64 mean half the newtons at 128, and nothing in them shows it; a board's hello does.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

UNITS_AGREE = 1e-6
"""Units per count travel as float32."""


@dataclass(frozen=True, slots=True)
class Converter:
    """One channel of a board, from its hello."""

    name: str
    gain: int
    units_per_count: float | None = None
    """mV/V or degrees; None: the board does not know it."""


@dataclass(frozen=True, slots=True)
class Board:
    """A board, from its hello."""

    board_id: str
    converters: tuple[Converter, ...]


def board_of(hello: Mapping[str, Any]) -> Board | None:
    """The board of this hello, in stored form; None for an old record without gains."""
    channels = hello.get("channels", ())
    if not all("gain" in channel for channel in channels) or not hello.get("board_id"):
        return None
    found = (Converter(c["name"], int(c["gain"]), c.get("units_per_count")) for c in channels)
    return Board(str(hello["board_id"]), tuple(found))


def otherwise(then: Board | None, now: Board | None, names: Collection[str]) -> tuple[str, ...]:
    """What differs on the board from when it was calibrated, in the channels with these names; one sentence each with
    the remedy. Nothing if that is unknown, as for calibrations from before boards were stored with them.
    """
    if then is None or now is None:
        return ()
    if then.board_id != now.board_id:
        return (f"calibrated with board {then.board_id}, connected is {now.board_id}: connect that one, or calibrate",)
    known = {converter.name: converter for converter in now.converters}
    found = (
        _of_one(converter, known[converter.name])
        for converter in then.converters
        if converter.name in names and converter.name in known
    )
    return tuple(filter(None, found))


def _of_one(then: Converter, now: Converter) -> str:
    if then.gain != now.gain:
        return (
            f"{then.name} was calibrated at gain {then.gain}, the board is at {now.gain}: "
            f"put gain = {then.gain} into the rig file, or calibrate"
        )
    units = then.units_per_count, now.units_per_count
    if None not in units and not math.isclose(units[0] or 0.0, units[1] or 0.0, rel_tol=UNITS_AGREE):
        return (
            f"{then.name} was calibrated at {units[0]:.6g} units a count, the board now says {units[1]:.6g}: "
            "was its firmware changed? Calibrate"
        )
    return ""
