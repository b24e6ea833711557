"""A store's log: the heads of its frames, and whether SQLite can replay it to its end. At the first frame that is not
as it was written SQLite stops without a word, and the next writer takes the place of what comes after.

Layout: sqlite.org/fileformat2.html, sections 4.1 (the log) and 4.2 (its checksums).
"""

from __future__ import annotations

import struct
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import IO, NamedTuple

import numpy as np
from numpy.typing import NDArray

from daq.keep.bounded import open_plain
from daq.keep.errors import StoreDamaged
from daq.keep.store.log_count import frames_written
from daq.words import counted

HEADER, FRAME_HEADER = 32, 24
MAGIC = (0x377F0682, 0x377F0683)
PAGE_SIZES = tuple(1 << power for power in range(9, 17))
USUAL_SIZE = 4096
OLDER = 2**20
"""How often a log began anew, at most, since the oldest frame that is left in it was written."""
Words = NDArray[np.uint32]
_AT_ONCE = 256
"""Frames read at a time."""
_FROM_SALTS = 8
"""From the begin of a frame to its salts."""
_SEARCHED = 2**20
"""Bytes searched at a time."""
_MOST_SHIFTS = 16
"""As often as this, at most, frames are looked for in another place: each time the rest of the log is read again."""
_STEP = np.array([[1, 1], [1, 2]], dtype=np.uint32)
"""What adding eight bytes does to the two sums: s0 += x0 + s1; s1 += x1 + s0."""
_BACK = np.array([[2, 2**32 - 1], [2**32 - 1, 1]], dtype=np.uint32)
"""Its inverse."""


@dataclass(frozen=True, slots=True)
class Log:
    """What the heads of a log's frames say, in their order."""

    header_sound: bool
    size: int
    """Bytes of a page."""
    at: NDArray[np.int64]
    """Where each frame begins in the log: one behind the other, but where bytes are missing or strange ones came in."""
    number: NDArray[np.int64]
    """Of the page in each frame."""
    commit: NDArray[np.int64]
    """Pages of the store after it, where it ends a transaction; else 0."""
    fitting: NDArray[np.int64]
    """Number and commit, (n, 2), with which its checksum would agree with that of the frame before it, or of the
    header. Where these are the ones it has, it is as it was written, whatever became of the others."""
    of_this: NDArray[np.bool_]
    """Whether its salts are those of this log."""
    of_older: NDArray[np.bool_]
    """Whether they may be those of an earlier one: the first is counted up by one each time (section 4.1)."""

    @property
    def sound(self) -> NDArray[np.bool_]:
        """Which frames are as they were written."""
        return _agree(self.fitting, self.number, self.commit)

    @property
    def mine(self) -> int:
        """How many frames there are up to the last of this log; it is written from its begin on."""
        return int(np.flatnonzero(self.of_this)[-1]) + 1 if self.of_this.any() else 0

    @property
    def replayed(self) -> int:
        """How many frames SQLite would replay."""
        in_place = self.at == HEADER + np.arange(len(self.at)) * (FRAME_HEADER + self.size)
        return int(np.argmin(np.append(self.of_this & self.sound & in_place, False))) if self.header_sound else 0

    @property
    def shifts(self) -> int:
        """How often a frame does not begin where the one before it ends, or the header."""
        frame = FRAME_HEADER + self.size
        return int(np.count_nonzero(np.diff(self.at, prepend=HEADER - frame) != frame))


def log_of(path: Path) -> Path:
    """Where SQLite keeps the log of this store (sqlite.org/wal.html)."""
    return path.with_name(path.name + "-wal")


def index_of(path: Path) -> Path:
    """Where SQLite keeps its index of that log."""
    return path.with_name(path.name + "-shm")


def is_left_alone(path: Path) -> bool:
    """Whether there is a log with frames in it and nothing, or an empty file, where its store should be: SQLite would
    delete the log, even to read."""
    log = log_of(path)
    has_frames = log.exists() and log.stat().st_size > HEADER
    return has_frames and not (path.exists() and path.stat().st_size)


def check_log(path: Path) -> None:
    """Raises StoreDamaged if the log holds more than one transaction behind a frame that is not as it was written, or
    nothing that can be read, or fewer frames than were written. A computer that lost its power may leave one
    transaction: it was not on the disk yet. Nobody else may have the store open."""
    log = log_of(path)
    if not log.exists():
        return
    written = frames_written(log, index_of(path))
    with open_plain(log) as file:
        found = read_log(file)
        file.seek(HEADER)
        if found is None and any(file.read(FRAME_HEADER)):
            raise StoreDamaged(
                f"{log} is damaged, and nothing in it can be read: keep it with the store; foreaft salvage tells what "
                "is left without it"
            )
    if found is not None and (lost := np.count_nonzero((found.commit * found.of_this)[found.replayed :])) > 1:
        raise StoreDamaged(
            f"{log} is damaged, and {lost} transactions behind the damage would be lost: keep it with the store; "
            "foreaft salvage reads both"
        )
    if (gone := written - (0 if found is None else found.mine)) > 0:
        raise StoreDamaged(
            f"{log} lacks {counted(gone, 'page')} of those written to it: keep it with the store; foreaft salvage "
            "reads what is left"
        )


def read_log(file: IO[bytes], likely: Iterable[int] = ()) -> Log | None:
    """None without a frame. Where its header is damaged, pages have the size, and words the order, with which checksums
    agree; likely: sizes to be tried first."""
    header = file.read(HEADER)
    if len(header) < HEADER:
        return None
    magic, _, size = struct.unpack_from(">III", header)
    if header_sound(header):
        return _read(file, header, size, magic & 1)
    orders = (magic & 1, 1 - (magic & 1))
    sizes = dict.fromkeys([*likely, USUAL_SIZE, *PAGE_SIZES])
    tried = (_read(file, header, size, order) for size in sizes for order in orders)
    return next((log for log in tried if log is not None and log.sound.any()), None)


def header_sound(header: bytes) -> bool:
    """Whether the first bytes of a log are what was written."""
    magic, _, size = struct.unpack_from(">III", header)
    sums = _sums(np.frombuffer(header[:24], ">u4" if magic & 1 else "<u4"), _weights(3))
    return magic in MAGIC and size in PAGE_SIZES and tuple(sums) == struct.unpack_from(">II", header, 24)


def _read(file: IO[bytes], header: bytes, size: int, big_endian: int) -> Log | None:
    frames = _frames(file, HEADER, size, big_endian)
    if not len(frames.at):
        return None
    log = _log(header, size, big_endian, frames)
    for _ in range(_MOST_SHIFTS):
        if not (log.mine or log.header_sound):
            return log
        of_last = frames.heads[log.mine - 1, 2:4].astype(">u4").tobytes()
        salts = header[16:24] if log.header_sound else of_last
        # from within the last frame on: where bytes of it are gone, the next one begins before its end
        begin = int(log.at[log.mine - 1]) + len(salts) if log.mine else HEADER
        place = _find(file, salts, begin + _FROM_SALTS)
        if place is None:
            return log
        behind = _frames(file, place - _FROM_SALTS, size, big_endian)
        if not len(behind.at):
            return log
        frames = _Frames(
            np.concatenate([frames.at[: log.mine], behind.at]),
            np.concatenate([frames.heads[: log.mine], behind.heads]),
            np.concatenate([frames.sums[: log.mine], behind.sums]),
        )
        log = _log(header, size, big_endian, frames)
    return log


class _Frames(NamedTuple):
    at: NDArray[np.int64]
    heads: Words
    """Six words of each."""
    sums: Words
    """What its page adds to either sum."""


def _frames(file: IO[bytes], at: int, size: int, big_endian: int) -> _Frames:
    """All from a place on to the end of the log."""
    file.seek(at)
    weights, frame = _weights(size // 8), FRAME_HEADER + size
    heads, sums = [np.empty((0, 6), dtype=np.uint32)], [np.empty((0, 2), dtype=np.uint32)]
    while count := len(content := file.read(_AT_ONCE * frame)) // frame:
        frames = np.frombuffer(content, np.uint8, count * frame).reshape(count, -1)
        heads.append(np.ascontiguousarray(frames[:, :FRAME_HEADER]).view(">u4").astype(np.uint32))
        pages = np.ascontiguousarray(frames[:, FRAME_HEADER:]).view(">u4" if big_endian else "<u4")
        sums.append(_sums(pages, weights))
    found = np.concatenate(heads)
    return _Frames(at + np.arange(len(found), dtype=np.int64) * frame, found, np.concatenate(sums))


def _find(file: IO[bytes], wanted: bytes, at: int) -> int | None:
    """Where these bytes are first, from a place on."""
    kept = len(wanted) - 1
    file.seek(at)
    tail = b""
    while content := file.read(_SEARCHED):
        if (found := (tail + content).find(wanted)) >= 0:
            return at - len(tail) + found
        at += len(content)
        tail = (tail + content)[-kept:]
    return None


def _log(header: bytes, size: int, big_endian: int, frames: _Frames) -> Log:
    at, found, of_pages = frames
    before = np.concatenate([np.array([struct.unpack_from(">II", header, 24)], dtype=np.uint32), found[:-1, 4:]])
    fitting = _words_that_fit(before, found[:, 4:], of_pages, size // 8)
    heads_that_fit = (fitting if big_endian else fitting.byteswap()).astype(np.int64)
    number, commit = found[:, 0].astype(np.int64), found[:, 1].astype(np.int64)
    salts = _salts_of_this(header, found[:, 2:4], _agree(heads_that_fit, number, commit))
    ago = (salts[0].astype(np.int64) - found[:, 2]) % 2**32
    of_this = (found[:, 2:4] == salts).all(axis=1)
    return Log(header_sound(header), size, at, number, commit, heads_that_fit, of_this, (ago > 0) & (ago < OLDER))


def _salts_of_this(header: bytes, salts: Words, sound: NDArray[np.bool_]) -> Words:
    """Its header's, if that is sound; else those of the first two frames of which one follows the other."""
    own = np.array(struct.unpack_from(">II", header, 16), dtype=np.uint32)
    if header_sound(header):
        return own
    before = np.concatenate([own[np.newaxis], salts[:-1]])
    agree = np.flatnonzero(sound & (salts == before).all(axis=1))
    return np.asarray(salts[agree[0] if len(agree) else 0])


def _agree(fitting: NDArray[np.int64], number: NDArray[np.int64], commit: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Zeros agree with zeros, but there is no page 0."""
    agree: NDArray[np.bool_] = (fitting[:, 0] == number) & (fitting[:, 1] == commit) & (number > 0)
    return agree


def _words_that_fit(before: Words, after: Words, of_pages: Words, pairs: int) -> Words:
    """The first two words of a frame, which lead from the sums before it to those after it: with the page given there
    is one solution."""
    back = np.eye(2, dtype=np.uint32)
    for _ in range(pairs):
        back = back @ _BACK
    behind_head = (after - of_pages) @ back.T
    first = behind_head[:, 0] - before[:, 0] - before[:, 1]
    return np.stack([first, behind_head[:, 1] - before[:, 1] - behind_head[:, 0]], axis=1)


def _sums(words: NDArray[np.generic], weights: Words) -> Words:
    """What so many words add to both sums, (..., 2)."""
    return np.stack([(words * one).sum(axis=-1, dtype=np.uint32) for one in weights], axis=-1)


def _weights(pairs: int) -> Words:
    """What each word of this many pairs adds to either sum in the end, (2, 2 pairs), modulo 2^32."""
    of_pair, found = np.array([[1, 0], [1, 1]], dtype=np.uint32), np.empty((2, 2 * pairs), dtype=np.uint32)
    turn = np.eye(2, dtype=np.uint32)
    for pair in reversed(range(pairs)):
        found[:, 2 * pair : 2 * pair + 2] = turn @ of_pair
        turn = turn @ _STEP
    return found
