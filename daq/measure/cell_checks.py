"""Load cells that cannot be right: at the end of their scale, overloaded, stuck, negative under load, swapped.

Judged second by second from counts and loads; faults of inputs the rig does not use are excluded. These checks cannot
see left and right, or nose and rear, swapped, or a cell that reads a wrong fraction of its load. The sum check and a
weight hung on each cell find those.
"""

from __future__ import annotations

import itertools
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from daq.values import Array, Bools, Ints, Loads, Samples, Status

STUCK_S = 3
"""A converter of 20 bits and more shows its own noise: with no change at all for this long, it is dead."""
FEWEST_SCANS = 5
"""Scans in a second; with fewer, a stuck cell cannot be judged."""
NOISY_BITS = 20
"""A converter of at least this many bits shows its own noise: equal counts in a row are a fault. For a coarser one this
is unknown."""
NEGATIVE_N, NEGATIVE_SHARE = 20.0, 0.1
"""A cell this far below zero, and by this fraction of the total load, while the jig is loaded. Common practice, no
source."""
LOADED_N = 150.0
"""Less than this on all cells together means an empty jig, or somebody leaning on it."""
SWAPPED_S = 10
"""A seated rider's hands never carry more than the saddle for this long; a standing rider's may for a moment."""
SEATED_N = 50.0
PLUGS = "plugs"
"""Suspected of a rider's loads: weights and a dummy load a bar as nobody does."""


@dataclass(frozen=True, slots=True)
class CheckedCell:
    """One force channel as the checks need it."""

    name: str
    column: int
    """Of the board's scans."""
    role: Literal["hands", "saddle"]
    bits: int = 24
    raw: bool = True
    """Counts straight from a converter; a transmitter's are rounded to its own division and may stand still."""
    capacity_n: float | None = None
    normal: bool = True
    """Whether it carries the weight; one that measures the force along the jig goes both ways."""


@dataclass(frozen=True, eq=False, slots=True)
class _Piece:
    """Some scans of one second."""

    counts: npt.NDArray[np.int32]
    cells_n: Array
    status: npt.NDArray[np.uint8]


@dataclass(frozen=True, eq=False, slots=True)
class _Second:
    scans: int
    lowest: Ints
    highest: Ints
    mean_n: Array
    most_n: Array
    least_n: Array
    status: int


class CellWatch:
    """Feed it scans with their loads, cells in the order of Loads.cells_n; `troubles` names what is wrong now."""

    def __init__(self, cells: Sequence[CheckedCell]) -> None:
        self._cells = tuple(cells)
        self._columns = [cell.column for cell in self._cells]
        self._normal = [i for i, cell in enumerate(self._cells) if cell.normal]
        self._past: deque[_Second] = deque(maxlen=SWAPPED_S)
        self._pending: list[_Piece] = []
        self._second: int | None = None
        self.troubles: dict[str, str] = {}
        """By cell, by "cells" for what the board reports of several, or by PLUGS: one sentence with the remedy."""

    @property
    def watches(self) -> bool:
        """Whether there is any cell to look at."""
        return bool(self._cells)

    def feed(self, samples: Samples, loads: Loads) -> list[tuple[float, dict[str, str]]]:
        """Take n scans and their loads. A second is judged when the first scan after it arrives, however scans are cut
        into blocks. Returns each second that ended: when, and what was wrong in it.
        """
        if not self._cells or not len(samples):
            return []
        seconds = np.floor(loads.t_s).astype(np.int64)
        edges = [0, *(np.flatnonzero(np.diff(seconds)) + 1).tolist(), len(seconds)]
        ended = []
        for first, end in itertools.pairwise(edges):
            second = int(seconds[first])
            if self._second is not None and second != self._second:
                self._past.append(_summed(self._pending))
                self._pending = []
                self.troubles = self._judge()
                ended.append((self._second + 1.0, self.troubles))
            self._second = second
            part = slice(first, end)
            self._pending.append(_Piece(samples.counts[part, self._columns], loads.cells_n[part], loads.status[part]))
        return ended

    def _judge(self) -> dict[str, str]:
        found: dict[str, str] = {}
        last = self._past[-1]
        for i, cell in enumerate(self._cells):
            if problem := self._of_one(i, cell, last):
                found[cell.name] = problem
        if not found and (problem := self._of_board(last)):
            found["cells"] = problem
        if not found and (problem := self._of_plugs()):
            found[PLUGS] = problem
        return found

    def _of_one(self, i: int, cell: CheckedCell, last: _Second) -> str:
        end = 1 << (cell.bits - 1)
        if last.highest[i] >= end - 1 or last.lowest[i] <= -end:
            return "at the end of its converter's scale: overloaded, or a wire of the cell is broken"
        most_n = last.most_n[i] if cell.normal else max(last.most_n[i], -last.least_n[i])
        if cell.capacity_n is not None and most_n > cell.capacity_n:
            return f"overloaded: {most_n:.0f} N, rated {cell.capacity_n:.0f} N. Unload it, then check its zero"
        if self._is_stuck(i, cell):
            return f"has not changed by one count for {STUCK_S} s: converter stuck, or its clock or data wire broken"
        total_n = float(np.abs(last.mean_n[self._normal]).sum())
        if cell.normal and total_n > LOADED_N and last.mean_n[i] < -max(NEGATIVE_N, NEGATIVE_SHARE * total_n):
            return (
                f"reads {last.mean_n[i]:.0f} N under a rider: its signal wires are swapped, "
                "or the zero was taken with a load on it"
            )
        return ""

    def _is_stuck(self, i: int, cell: CheckedCell) -> bool:
        seconds = list(self._past)[-STUCK_S:]
        if not cell.raw or cell.bits < NOISY_BITS or len(seconds) < STUCK_S:
            return False
        enough = all(second.scans >= FEWEST_SCANS for second in seconds)
        values = {int(v) for second in seconds for v in (second.lowest[i], second.highest[i])}
        return enough and len(values) == 1

    def _of_board(self, last: _Second) -> str:
        if last.status & Status.ADC_ERROR:
            return "the board reports a converter that could not be read: check the wires between converter and board"
        if last.status & Status.SATURATED:
            return "the board reports a channel at the end of its scale"
        return ""

    def _of_plugs(self) -> str:
        if len(self._past) < SWAPPED_S:
            return ""
        mean_n = np.mean([second.mean_n for second in self._past], axis=0)
        hands_n = float(mean_n[self._of_role("hands")].sum())
        saddle_n = float(mean_n[self._of_role("saddle")].sum())
        if hands_n + saddle_n > LOADED_N and hands_n > saddle_n > SEATED_N:
            return (
                f"the hands seem to carry more than the saddle ({hands_n:.0f} N and {saddle_n:.0f} N): "
                "are the plugs of bar and saddle swapped?"
            )
        return ""

    def _of_role(self, role: str) -> Bools:
        return np.array([cell.normal and cell.role == role for cell in self._cells])


def _summed(pieces: Sequence[_Piece]) -> _Second:
    counts = np.concatenate([piece.counts for piece in pieces])
    cells_n = np.concatenate([piece.cells_n for piece in pieces])
    return _Second(
        scans=len(counts),
        lowest=counts.min(axis=0),
        highest=counts.max(axis=0),
        mean_n=cells_n.mean(axis=0),
        most_n=cells_n.max(axis=0),
        least_n=cells_n.min(axis=0),
        status=int(np.bitwise_or.reduce(np.concatenate([piece.status for piece in pieces]))),
    )
