"""The zero of an empty jig: the mean reading over a short rest, refused while anything moves or presses on it."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from daq.measure.calibration import Calibration, apply
from daq.refusals import BadValue
from daq.values import Array, Samples
from daq.words import counted

OVER_S = 2.0
"""How long the jig has to rest."""
PARTS = 4
"""The rest is divided into this many parts, whose means have to agree."""
MOVES_AT_MOST_N = 1.0
EMPTY_AT_MOST_N = 60.0
"""A larger deviation from the calibration's own zero is a rider, a tool or a changed fixture, not drift."""


class NoZero(BadValue):
    """The zero cannot be taken now; the text names the cell and what to do."""


@dataclass(frozen=True, slots=True)
class Zero:
    """Readings of the empty jig, in the calibration's channel order."""

    counts: tuple[float, ...]
    moved_n: tuple[float, ...]
    """How far each force cell's zero is from the calibration's, N."""


def zero_of(counts: Array, calibration: Calibration) -> Zero:
    """The zero of a rest, (n, k) counts in the calibration's channel order. Raises NoZero."""
    if not calibration.forces:
        raise NoZero("no cell is calibrated yet, so nothing can be told from its zero: calibrate first", see="bench")
    if len(counts) < 4 * PARTS:
        raise NoZero(
            f"the board has sent {counted(len(counts), 'scan')} in the last {OVER_S:g} s: "
            "wait until it sends, then again"
        )
    parts_n = np.array([apply(calibration, part).mean(axis=0) for part in np.array_split(counts, PARTS)])
    moved_n = apply(calibration, counts).mean(axis=0)
    for i, channel in enumerate(calibration.channels):
        if channel.kind != "force":
            continue
        moves_n = float(np.ptp(parts_n[:, i]))
        if moves_n > MOVES_AT_MOST_N:
            raise NoZero(f"{channel.name} still moves by {moves_n:.1f} N: let nobody touch the jig, then take it again")
        if abs(moved_n[i]) > EMPTY_AT_MOST_N:
            raise NoZero(
                f"{channel.name} carries {moved_n[i]:.0f} N: take the zero with nobody and nothing on the jig; "
                "if it is empty, check the cell and calibrate again"
            )
    forces = [i for i, channel in enumerate(calibration.channels) if channel.kind == "force"]
    return Zero(tuple(counts.mean(axis=0).tolist()), tuple(moved_n[forces].tolist()))


class Recent:
    """The scans of the last OVER_S seconds, of which a zero is taken."""

    def __init__(self) -> None:
        self._kept: deque[Samples] = deque()

    def feed(self, samples: Samples) -> None:
        """Keep these, and forget what is too old, or of a board with another number of channels."""
        if self._kept and self._kept[0].counts.shape[1] != samples.counts.shape[1]:
            self._kept.clear()
        self._kept.append(samples)
        while self._kept[0].received_us[-1] < samples.received_us[-1] - OVER_S * 1e6:
            self._kept.popleft()

    def counts(self, columns: Sequence[int]) -> Array:
        """(n, k) converter readings in these k columns."""
        if not self._kept:
            return np.empty((0, len(columns)))
        return np.concatenate([part.counts for part in self._kept])[:, list(columns)].astype(np.float64)


def counts_of(content: Any) -> Array | None:
    """A zero's counts as an event holds them; None is the calibration's own."""
    return None if content is None else np.asarray(content, dtype=np.float64)
