"""Scans as bytes: one conversion of every channel, with the board's clock, number and status.

    uint8 type | uint8 status | uint16 sequence | uint32 ticks_us | k counts

Type SCAN32 carries int32 counts, SCAN24 carries 24-bit two's complement counts, three bytes each. All little-endian.
The number of channels follows from the length.
"""

from __future__ import annotations

import functools
import struct
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from daq.values import Ints, Samples
from daq.wire.frames import frame

SCAN32, SCAN24 = 0x02, 0x03
COUNT_BYTES = {SCAN32: 4, SCAN24: 3}
MAX_CHANNELS = 32
_HEAD = struct.Struct("<BBHI")


def channels_in(body: bytes) -> int:
    """How many channels this scan carries. ValueError when its length fits no number of channels."""
    width = COUNT_BYTES[body[0]]
    k, rest = divmod(len(body) - _HEAD.size, width)
    if rest or not 0 < k <= MAX_CHANNELS:
        expected = f"{_HEAD.size} + {width} k, k 1 to {MAX_CHANNELS}"
        raise ValueError(f"scan of type {body[0]:#04x} has {len(body)} bytes: expected {expected}")
    return k


def decode_scans(bodies: Sequence[bytes], *, source: str, received_us: Ints) -> Samples:
    """The scans of one type and length, in order, each with its receipt time, as one value."""
    width = COUNT_BYTES[bodies[0][0]]
    k = channels_in(bodies[0])
    rows = np.frombuffer(b"".join(bodies), dtype=_layout(width, k))
    counts = rows["counts"] if width == 4 else _from_24_bit(rows["counts"])
    return Samples(
        source=source,
        received_us=received_us,
        ticks_us=rows["ticks_us"].astype(np.uint32),
        sequence=rows["sequence"].astype(np.uint16),
        status=rows["status"].copy(),
        counts=counts.astype(np.int32),
    )


def encode_scan(ticks_us: int, sequence: int, status: int, counts: Sequence[int], *, bits: int = 32) -> bytes:
    """The frame of one scan. Ticks and sequence wrap by themselves; ValueError for a count that does not fit."""
    return frame(_head(bits, status, sequence, ticks_us) + _counts(np.asarray([counts]), bits)[0].tobytes())


def encode_scans(samples: Samples, *, bits: int = 32) -> bytes:
    """The frames of all scans, one after the other, in order."""
    counts = _counts(samples.counts, bits)
    heads = zip(samples.status.tolist(), samples.sequence.tolist(), samples.ticks_us.tolist(), strict=True)
    return b"".join(
        frame(_head(bits, status, sequence, ticks_us) + row.tobytes())
        for (status, sequence, ticks_us), row in zip(heads, counts, strict=True)
    )


def _head(bits: int, status: int, sequence: int, ticks_us: int) -> bytes:
    return _HEAD.pack(SCAN24 if bits == 24 else SCAN32, status, sequence & 0xFFFF, ticks_us & 0xFFFFFFFF)


def _counts(counts: npt.ArrayLike, bits: int) -> npt.NDArray[np.uint8]:
    """(n, k) counts as (n, k * width) bytes."""
    wide = np.asarray(counts, dtype=np.int64)
    if bits not in (24, 32):
        raise ValueError(f"counts travel in 24 or 32 bits, not {bits}")
    limit = 1 << (bits - 1)
    if wide.ndim != 2 or not 0 < wide.shape[1] <= MAX_CHANNELS:
        raise ValueError(f"counts: expected (n, k) with k 1 to {MAX_CHANNELS}, got shape {wide.shape}")
    if wide.size and (wide.min() < -limit or wide.max() >= limit):
        raise ValueError(f"a count does not fit {bits} bits: {wide.min()} to {wide.max()}")
    as_bytes = np.ascontiguousarray(wide, dtype="<i4").view(np.uint8).reshape(*wide.shape, 4)
    return np.ascontiguousarray(as_bytes[..., : bits // 8]).reshape(len(wide), wide.shape[1] * bits // 8)


@functools.cache
def _layout(width: int, k: int) -> np.dtype[np.void]:
    counts = ("counts", "<i4", (k,)) if width == 4 else ("counts", "u1", (k, 3))
    return np.dtype([("type", "u1"), ("status", "u1"), ("sequence", "<u2"), ("ticks_us", "<u4"), counts])


def _from_24_bit(triples: npt.NDArray[np.uint8]) -> npt.NDArray[np.int32]:
    """(n, k, 3) bytes to (n, k) sign-extended counts."""
    quads = np.zeros((*triples.shape[:2], 4), dtype=np.uint8)
    quads[..., 1:] = triples
    return quads.view("<i4")[..., 0] >> 8
