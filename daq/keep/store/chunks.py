"""Samples as one compressed chunk of bytes and back, bit for bit. Pure.

Layout, little-endian:

    head      uint8 codec = 1 | uint8 order | uint16 channels | uint32 scans
    body      one zstd frame over these columns, one after the other:
                received_us   first differences, int64
                ticks_us      second differences, int32 (the clock's steps hardly change)
                sequence      first differences, uint16
                status        uint8 as it is
                counts        differences of the given order down each channel, channel after channel, int32

All differences wrap like the integers they are of, so any value survives. Signed ones are then folded
(0, -1, 1, -2 .. become 0, 1, 2, 3 ..) and every column is laid out byte plane by byte plane, which puts the bytes
that hardly change beside each other. The order is 1 or 2, whichever leaves the smaller differences: 2 follows the
smooth ripple of pedalling, 1 suits a still load whose noise a second difference would double.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from threading import local
from typing import Any

import numpy as np
import numpy.typing as npt
import zstandard

from daq.values import Samples
from daq.words import counted

CODEC = 1
LIVE_LEVEL = 3
"""zstd level for the chunk of each second."""
IMPORT_LEVEL = 12
"""zstd level of an import, when there is time; above it the gain is under 1 %."""
MOST_CHANNELS = 0xFFFF
MOST_BYTES = 2**25
"""Unpacked: 32 channels at 1 kHz for four minutes, or a second of the fastest converters. One that announces
more is not one of ours."""

_HEAD = struct.Struct("<BBHI")
_UnsignedArray = npt.NDArray[Any]


class BadChunk(ValueError):
    """The bytes are not a valid chunk; the text says why."""


class _Zstd(local):
    """A thread's own: none may be used by two threads at once. Kept: making one takes as long as packing a second."""

    def __init__(self) -> None:
        self.decompressor = zstandard.ZstdDecompressor()
        self._compressors: dict[int, zstandard.ZstdCompressor] = {}

    def compressor(self, level: int) -> zstandard.ZstdCompressor:
        """Of this level."""
        if level not in self._compressors:
            self._compressors[level] = zstandard.ZstdCompressor(level=level)
        return self._compressors[level]


_ZSTD = _Zstd()


def encode(samples: Samples, *, level: int = LIVE_LEVEL) -> bytes:
    """The chunk of these samples. ValueError if the columns are not equally long or hold no scan."""
    scans, channels = _shape(samples)
    counts = np.ascontiguousarray(samples.counts.T, dtype=np.int32)
    once = _differences(counts)
    twice = _differences(once)
    order = 2 if _size(twice) < _size(once) else 1
    columns = (
        _planes(_folded(_differences(np.asarray(samples.received_us, dtype=np.int64)))),
        _planes(_folded(_differences(_differences(np.asarray(samples.ticks_us, dtype=np.uint32).view(np.int32))))),
        _planes(_differences(np.asarray(samples.sequence, dtype=np.uint16))),
        np.asarray(samples.status, dtype=np.uint8).tobytes(),
        _planes(_folded(twice if order == 2 else once)),
    )
    body = _ZSTD.compressor(level).compress(b"".join(columns))
    return _HEAD.pack(CODEC, order, channels, scans) + body


def decode(chunk: bytes, *, source: str) -> Samples:
    """The samples of a chunk. BadChunk if it is not one."""
    return decode_all([unpacked(chunk)], source=source)


@dataclass(frozen=True, slots=True)
class Unpacked:
    """A chunk with its frame decompressed and its columns still packed."""

    order: int
    channels: int
    scans: int
    body: bytes


def unpacked(chunk: bytes) -> Unpacked:
    """Decompresses a chunk's frame. BadChunk if it is not one."""
    if len(chunk) < _HEAD.size:
        raise BadChunk(f"expected at least {_HEAD.size} bytes, got {len(chunk)}")
    codec, order, channels, scans = _HEAD.unpack_from(chunk)
    if codec != CODEC or order not in (1, 2):
        raise BadChunk(f"expected codec {CODEC} and order 1 or 2, got codec {codec} and order {order}")
    size = scans * (8 + 4 + 2 + 1 + 4 * channels)
    if size > MOST_BYTES:
        raise BadChunk(f"expected at most {MOST_BYTES} bytes unpacked, got {size}")
    try:
        # what the frame says is allocated, and whatever else it holds is an error of zstd's (RFC 8878, 3.1.1)
        if (said := zstandard.frame_content_size(chunk[_HEAD.size :])) != size:
            of = f"{counted(scans, 'scan')} of {counted(channels, 'channel')}"
            raise BadChunk(f"expected {size} bytes for {of}, got {said}")
        body = _ZSTD.decompressor.decompress(chunk[_HEAD.size :])
    except zstandard.ZstdError as error:
        raise BadChunk(str(error)) from error
    return Unpacked(order, channels, scans, body)


def decode_all(parts: Sequence[Unpacked], *, source: str) -> Samples:
    """The samples of one or more chunks with the same order and number of channels. Together they take half the time of
    one by one.
    """
    order, channels = parts[0].order, parts[0].channels
    lengths = np.array([part.scans for part in parts])
    ends = np.cumsum(lengths)
    total = int(ends[-1])
    received, ticks = np.empty((total, 8), np.uint8), np.empty((total, 4), np.uint8)
    sequence, status = np.empty((total, 2), np.uint8), np.empty((total, 1), np.uint8)
    counts = np.empty((channels, total, 4), np.uint8)
    for part, end in zip(parts, ends.tolist(), strict=True):
        planes, at, where = np.frombuffer(part.body, dtype=np.uint8), 0, slice(end - part.scans, end)
        for column in (received, ticks, sequence, status):
            for place in range(column.shape[1]):
                column[where, place] = planes[at : at + part.scans]
                at += part.scans
        for place, plane in enumerate(planes[at:].reshape(4, channels, part.scans)):
            counts[:, where, place] = plane
    differences = _unfolded(_numbers(counts, np.uint32))
    for _ in range(order):
        differences = _sums(differences, lengths)
    return Samples(
        source=source,
        received_us=_sums(_unfolded(_numbers(received, np.uint64)), lengths),
        ticks_us=_sums(_sums(_unfolded(_numbers(ticks, np.uint32)), lengths), lengths).view(np.uint32),
        sequence=_sums(_numbers(sequence, np.uint16), lengths),
        status=status[:, 0],
        counts=np.ascontiguousarray(differences.T),
    )


def _shape(samples: Samples) -> tuple[int, int]:
    if samples.counts.ndim != 2:
        raise ValueError(f"{samples.source}: expected counts as (scans, channels), got shape {samples.counts.shape}")
    scans, channels = samples.counts.shape
    lengths = {len(samples.received_us), len(samples.ticks_us), len(samples.sequence), len(samples.status), scans}
    if len(lengths) != 1:
        raise ValueError(f"{samples.source}: expected columns equally long, got lengths {sorted(lengths)}")
    if not scans or channels > MOST_CHANNELS:
        raise ValueError(f"{samples.source}: expected at least one scan and at most {MOST_CHANNELS} channels")
    return scans, channels


def _differences(x: _UnsignedArray) -> _UnsignedArray:
    """x[i] - x[i-1] along the last axis, wrapping; the first value stands for itself."""
    out = x.copy()
    np.subtract(x[..., 1:], x[..., :-1], out=out[..., 1:])
    return out


def _sums(x: _UnsignedArray, lengths: npt.NDArray[np.int64]) -> _UnsignedArray:
    """The inverse of `_differences` along the last axis, separately for stretches of these lengths; in place, since
    these arrays are large and owned here."""
    sums = np.cumsum(x, axis=-1, dtype=x.dtype, out=x)
    if len(lengths) > 1:
        before = np.zeros((*x.shape[:-1], len(lengths)), x.dtype)
        before[..., 1:] = sums[..., np.cumsum(lengths[:-1]) - 1]
        sums -= np.repeat(before, lengths, axis=-1)
    return sums


def _size(differences: _UnsignedArray) -> float:
    return float(np.abs(differences[..., 2:].astype(np.float64)).sum())


def _folded(x: _UnsignedArray) -> _UnsignedArray:
    bits = 8 * x.dtype.itemsize
    return ((x << 1) ^ (x >> (bits - 1))).view(f"u{x.dtype.itemsize}")


def _unfolded(x: _UnsignedArray) -> _UnsignedArray:
    """The inverse of `_folded`, in place."""
    signs = -(x & 1).view(f"i{x.dtype.itemsize}")
    x >>= 1
    unfolded: _UnsignedArray = x.view(signs.dtype)
    unfolded ^= signs
    return unfolded


def _planes(x: _UnsignedArray) -> bytes:
    little = np.ascontiguousarray(x).astype(x.dtype.newbyteorder("<"), copy=False)
    return little.view(np.uint8).reshape(-1, x.dtype.itemsize).T.tobytes()


def _numbers(each: npt.NDArray[np.uint8], dtype: type[np.unsignedinteger[Any]]) -> _UnsignedArray:
    """The last axis, bytes with the lowest first, as one number."""
    return each.view(np.dtype(dtype).newbyteorder("<"))[..., 0].astype(dtype, copy=False)
