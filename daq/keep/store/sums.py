"""Sums, lows and highs of the counts for each second, kept beside the raw so that an overview need not read it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from daq.values import Ints, Samples

SECOND_US = 1_000_000


@dataclass(frozen=True, eq=False, slots=True)
class SecondSums:
    """One second of one source; k channels."""

    second: int
    """Whole seconds of session time, from received_us."""
    scans: int
    status: int
    """All the status bits seen."""
    sums: Ints
    """(k,) counts added up."""
    lows: npt.NDArray[np.int32]
    highs: npt.NDArray[np.int32]

    def to_bytes(self) -> bytes:
        """sums as int64, then lows, then highs as int32, little-endian."""
        return (
            self.sums.astype("<i8").tobytes() + self.lows.astype("<i4").tobytes() + self.highs.astype("<i4").tobytes()
        )

    @classmethod
    def from_bytes(cls, second: int, scans: int, status: int, packed: bytes) -> SecondSums:
        """The inverse of to_bytes."""
        k = len(packed) // 16
        lows_highs = np.frombuffer(packed, "<i4", offset=8 * k).astype(np.int32)
        return cls(second, scans, status, np.frombuffer(packed, "<i8", k).astype(np.int64), *lows_highs.reshape(2, k))


def second_sums(samples: Samples) -> list[SecondSums]:
    """The sums of each second that these samples touch, by second. They need not be in order of time."""
    seconds = np.asarray(samples.received_us, dtype=np.int64) // SECOND_US
    counts = np.asarray(samples.counts, dtype=np.int32)
    if np.any(np.diff(seconds) < 0):
        order = np.argsort(seconds, kind="stable")
        return second_sums(_taken(samples, order))
    starts = np.flatnonzero(np.diff(seconds, prepend=seconds[:1] - 1))
    lengths = np.diff(starts, append=len(seconds))
    sums = np.add.reduceat(counts, starts, axis=0, dtype=np.int64)
    lows, highs = np.minimum.reduceat(counts, starts, axis=0), np.maximum.reduceat(counts, starts, axis=0)
    status = np.bitwise_or.reduceat(samples.status, starts)
    return [
        SecondSums(int(seconds[start]), int(lengths[i]), int(status[i]), sums[i], lows[i], highs[i])
        for i, start in enumerate(starts)
    ]


def added(parts: list[SecondSums]) -> SecondSums:
    """One second put together from its parts."""
    return SecondSums(
        second=parts[0].second,
        scans=sum(part.scans for part in parts),
        status=int(np.bitwise_or.reduce([part.status for part in parts])),
        sums=np.sum([part.sums for part in parts], axis=0),
        lows=np.min([part.lows for part in parts], axis=0),
        highs=np.max([part.highs for part in parts], axis=0),
    )


def _taken(samples: Samples, which: Any) -> Samples:
    return Samples(
        samples.source,
        samples.received_us[which],
        samples.ticks_us[which],
        samples.sequence[which],
        samples.status[which],
        samples.counts[which],
    )
