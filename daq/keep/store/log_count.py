"""How many frames SQLite has written to a store's log, by its index of the log, the file that ends in -shm. A kill
leaves that file beside the log, and it tells of frames that are gone: a log cut off where a transaction ends is whole
by itself. Where that file is gone, or of another log, it tells nothing.

Layout: sqlite.org/walformat.html, section 2.1 (the index's header, twice, and what has been checkpointed). Its numbers
are in the byte order of the machine that wrote them. Where the header's two copies differ, SQLite was ended between
them: the first is the older one, and its count still holds.
"""

from __future__ import annotations

import struct
from pathlib import Path

from daq.keep.bounded import Refused, open_plain

_HEADER = struct.Struct("=I12xI12x8sII")
"""Version, frames, salts of the log, sums of what stands before them."""
_VERSION = 3007000
_SALTS_AT = 16
_SUMMED = 40
_BACKFILLED_AT = 2 * _HEADER.size


def frames_written(log: Path, index: Path) -> int:
    """How many frames transactions have ended with; 0 if that is not known, or if the store has all of them by now."""
    try:
        with open_plain(index) as file:
            begin = file.read(_BACKFILLED_AT + 4)
        with open_plain(log) as file:
            salts_of_log = file.read(_SALTS_AT + 8)[_SALTS_AT:]
    except (Refused, OSError):
        return 0
    if len(begin) < _BACKFILLED_AT + 4:
        return 0
    version, frames, salts, *sums = _HEADER.unpack_from(begin)
    if version != _VERSION or salts != salts_of_log or sums != _sums(begin[:_SUMMED]):
        return 0
    (backfilled,) = struct.unpack_from("=I", begin, _BACKFILLED_AT)
    return int(frames) if frames > backfilled else 0


def _sums(content: bytes) -> list[int]:
    """SQLite's checksum (section 4.2 of sqlite.org/fileformat2.html), in the machine's byte order."""
    s0 = s1 = 0
    for x0, x1 in struct.iter_unpack("=II", content):
        s0 = (s0 + x0 + s1) % 2**32
        s1 = (s1 + x1 + s0) % 2**32
    return [s0, s1]
