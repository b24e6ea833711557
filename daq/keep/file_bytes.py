"""The bytes of a file that may be damaged, larger than memory, or on a failing disk. Mapped into memory, a sector that
cannot be read, or a file that shrinks meanwhile, would end the process with a signal (mmap(2), SIGBUS).
"""

from __future__ import annotations

import os
from io import BytesIO, RawIOBase

WINDOW_BYTES = 2**20
SECTOR_BYTES = 4096


class FileBytes:
    """A file that can be sliced like bytes. What cannot be read is zeros; slices end where the file does."""

    def __init__(self, file: RawIOBase | BytesIO) -> None:
        self._file = file
        self._size = file.seek(0, os.SEEK_END)
        self._window, self._at = b"", 0

    def __len__(self) -> int:
        return self._size

    def __getitem__(self, wanted: slice) -> bytes:
        start, stop, _ = wanted.indices(self._size)
        if start < self._at or stop > self._at + len(self._window):
            self._window, self._at = self._read(start, max(stop - start, WINDOW_BYTES)), start
        return self._window[start - self._at : max(stop, start) - self._at]

    def find(self, mark: bytes, start: int) -> int:
        """Where the mark is next, at `start` or later; -1 if it is nowhere."""
        for at in range(start, self._size, WINDOW_BYTES):
            found = self[at : at + WINDOW_BYTES + len(mark) - 1].find(mark)
            if found >= 0:
                return at + found
        return -1

    def _read(self, at: int, length: int) -> bytes:
        """A read ends before a bad sector and fails only if it begins in one (read(2)): then this sector is zeros."""
        parts, stop = [], min(at + length, self._size)
        while at < stop:
            try:
                part = self._read_at(at, stop - at)
            except OSError:
                part = bytes(min(SECTOR_BYTES - at % SECTOR_BYTES, stop - at))
            if not part:
                break
            parts.append(part)
            at += len(part)
        return b"".join(parts)

    def _read_at(self, at: int, length: int) -> bytes:
        self._file.seek(at)
        return self._file.read(length) or b""
