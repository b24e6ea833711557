"""Faults of inputs that the rig does not use, removed from the scans' status: they concern no load.

A board's status bits say *some channel*. The counts show which one: a count at an end of its scale is saturated; a
channel that could not be read repeats its last count. Without this, an open spare input would spoil every stroke.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from daq.measure.cell_checks import NOISY_BITS
from daq.values import Bools, Samples, Status

REPEATS = 2
_FAULTS = Status.SATURATED | Status.ADC_ERROR


class SpareInputs:
    """Feed the scans of one board in order, cut anywhere."""

    def __init__(
        self, channels: Sequence[Mapping[str, Any]] = (), *, used: Collection[str] = (), cells: Collection[str] = ()
    ) -> None:
        """channels: of the board's hello, with name and bits. used: by the rig. cells: those of them that carry load.
        If the board has no spare input, or does not state its bits, the status stays as sent.
        """
        names = [str(channel["name"]) for channel in channels]
        self.known = bool(names)
        """Whether the board has said what its inputs are."""
        self._spare = [i for i, name in enumerate(names) if name not in used]
        if not all("bits" in channel for channel in channels):
            self._spare = []
        self._names = names
        self._used = [i for i, name in enumerate(names) if name in used]
        self._cells = [i for i, name in enumerate(names) if name in cells]
        bits = np.array([int(channel.get("bits", 24)) for channel in channels], dtype=np.int64)
        self._ends = (1 << np.maximum(bits - 1, 0)) - 1
        self._coarse = [i for i in self._cells if bits[i] < NOISY_BITS]
        self._before: npt.NDArray[np.int32] | None = None
        self.troubles: dict[str, str] = {}
        """By name: the spare inputs found faulty so far, one sentence each with the remedy."""
        self.found: list[tuple[int, str]] = []
        """New ones in the last feed: the scan, and the sentence."""

    def status(self, samples: Samples) -> npt.NDArray[np.uint8]:
        """(n,) the status of each scan without the faults that are those of spare inputs alone."""
        self.found = []
        if not self._spare or not len(samples) or samples.counts.shape[1] != len(self._names):
            return samples.status
        before, self._before = self._before, self._last_of(samples.counts)
        if not (samples.status & _FAULTS).any():
            return samples.status
        repeats = _repeats(samples.counts[:0] if before is None else before, samples.counts)
        status = samples.status.copy()
        saturated = (status & Status.SATURATED) != 0
        unread = (status & Status.ADC_ERROR) != 0
        if saturated.any():
            at_end = (samples.counts >= self._ends) | (samples.counts <= -self._ends - 1)
            self._tell(at_end & saturated[:, None], "is at the end of its scale")
            status[saturated & ~at_end[:, self._used].any(axis=1)] &= ~np.uint8(Status.SATURATED)
        if unread.any():
            self._tell(repeats & unread[:, None], "cannot be read")
            ours = repeats[:, self._cells].any(axis=1) | bool(self._coarse)
            status[unread & ~ours] &= ~np.uint8(Status.ADC_ERROR)
        return status

    def _last_of(self, counts: npt.NDArray[np.int32]) -> npt.NDArray[np.int32]:
        """The last counts of all so far, enough to tell whether the next ones repeat them."""
        if len(counts) >= REPEATS or self._before is None:
            return counts[-REPEATS:]
        return np.concatenate([self._before, counts])[-REPEATS:]

    def _tell(self, which: Bools, what: str) -> None:
        for i in self._spare:
            name = self._names[i]
            if name not in self.troubles and which[:, i].any():
                self.troubles[name] = (
                    f"the input {name} {what}. The rig file does not use it, nothing is stopped: "
                    "connect it, or take it out of the board's firmware"
                )
                self.found.append((int(which[:, i].argmax()), self.troubles[name]))


def _repeats(before: npt.NDArray[np.int32], counts: npt.NDArray[np.int32]) -> Bools:
    """(n, k) whether a count appears for the third time in a row. before: the counts in front of these, at most two."""
    all_counts = np.concatenate([before, counts])
    same = np.zeros(all_counts.shape, dtype=np.bool_)
    same[REPEATS:] = (all_counts[REPEATS:] == all_counts[1:-1]) & (all_counts[1:-1] == all_counts[:-REPEATS])
    return np.asarray(same[len(before) :])
