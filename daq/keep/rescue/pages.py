"""The pages of a damaged SQLite file, its log laid over them. Nothing is asked of its header but what can be checked.

Layout: sqlite.org/fileformat2.html, sections 1.3 (header), 1.5 (freelist), 1.6 (b-tree pages).
"""

from __future__ import annotations

import struct
from io import BytesIO, RawIOBase
from pathlib import Path

from daq.keep.bounded import open_plain, read_bytes
from daq.keep.file_bytes import FileBytes
from daq.keep.rescue.log_pages import read_log_pages
from daq.keep.store.log import PAGE_SIZES, USUAL_SIZE, index_of, log_of
from daq.keep.store.log_count import frames_written

HEADER_BYTES = 100
MAGIC = b"SQLite format 3\0"
LEAF, LEAF_OF_INDEX = 0x0D, 0x0A
"""The first byte of a page with rows of a table, and with records of an index."""
INNER_OF_INDEX = 0x02
INNER = (0x05, INNER_OF_INDEX)
"""The same of pages above those."""
B_TREE = (*INNER, LEAF_OF_INDEX, LEAF)
MOST_LOG_BYTES = 2**30


class Pages:
    """A file's pages, numbered from 1. Use it as a context manager."""

    def __init__(self, path: Path) -> None:
        """Opens the file and reads its log. A log alone will do. Refused when it is no plain file; OSError."""
        log = log_of(path)
        written = frames_written(log, index_of(path))
        log_bytes = read_bytes(log, MOST_LOG_BYTES) if log.exists() else b""
        alone = bool(log_bytes) and not path.exists()
        self._file: RawIOBase | BytesIO = BytesIO() if alone else open_plain(path).detach()
        self._main = FileBytes(self._file)
        size = _header_size(self._main[:HEADER_BYTES])
        self.log = read_log_pages(log_bytes, size, len(self._main) // (size or PAGE_SIZES[0]), written=written)
        self.size = self.log.size or size or _guessed_size(self._main)
        main = range(1, -(-len(self._main) // self.size) + 1)
        self.numbers = sorted({*main, *self.log.pages})
        first = self.page(1)
        self.header_sound = first.startswith(MAGIC) and _header_size(first) is not None

    def __enter__(self) -> Pages:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def page(self, number: int) -> bytes:
        """One page; empty when the file does not reach so far, short when it ends within it."""
        if number in self.log.pages:
            return self.log.pages[number]
        if number < 1:
            return b""
        return self._main[(number - 1) * self.size : number * self.size]

    @property
    def count(self) -> int:
        """The highest number there is."""
        return self.numbers[-1] if self.numbers else 0

    @property
    def stated(self) -> int | None:
        """How many pages there were, as the header says, or the last transaction in the log; None if neither can be
        believed."""
        first = self.page(1)
        if len(first) < HEADER_BYTES:
            return self.log.count
        counter, pages = struct.unpack_from(">II", first, 24)
        (valid_for,) = struct.unpack_from(">I", first, 92)
        return int(pages) if counter == valid_for and 0 < pages < 2**31 else self.log.count

    def free(self) -> tuple[set[int], bool]:
        """The pages on the freelist, and whether these are all: its chain begins in the header, and may break off.
        Without it, a page that lists pages of zeros and nothing else is taken for a part of it.
        """
        found, whole = self._chained()
        if not whole:
            for number in self.numbers[1:]:
                listed = self._listed(number)
                if listed and all(one in found or not any(self.page(one)) for one in listed):
                    found |= {number, *listed}
        return found, whole

    def _chained(self) -> tuple[set[int], bool]:
        found: set[int] = set()
        first = self.page(1)
        if len(first) < HEADER_BYTES or not self.header_sound:
            return found, False
        trunk, count = struct.unpack_from(">II", first, 32)
        while 1 < trunk <= self.count and trunk not in found:
            found.add(trunk)
            listed = self._listed(trunk)
            if listed is None:
                break
            (trunk,) = struct.unpack_from(">I", self.page(trunk))
            found |= listed
        return found, len(found) == count

    def _listed(self, trunk: int) -> set[int] | None:
        """The free pages a page lists, if that is all it holds: a number, a count, and so many numbers."""
        page = self.page(trunk)
        if len(page) < self.size:
            return None
        (count,) = struct.unpack_from(">I", page, 4)
        if count > self.size // 4 - 2:
            return None
        numbers = struct.unpack_from(f">{count}I", page, 8)
        return set(numbers) if all(1 < one <= self.count for one in numbers) else None


def _header_size(header: bytes) -> int | None:
    if len(header) < HEADER_BYTES:
        return None
    (size,) = struct.unpack_from(">H", header, 16)
    size = 65536 if size == 1 else size
    return size if size in PAGE_SIZES and header[21:24] == b"\x40\x20\x20" else None


def _guessed_size(content: FileBytes) -> int:
    """The size at which most pages begin like one of a b-tree: a type there is, and its cells after its header.

    At a smaller one the cells of most would lie beyond their page, at a larger one there are fewer.
    """
    counts = {
        size: sum(_begins_like_one(content, at, size) for at in range(size, len(content) - size + 1, size))
        for size in PAGE_SIZES
    }
    best = max(PAGE_SIZES, key=lambda size: counts[size])
    return best if counts[best] else USUAL_SIZE


def _begins_like_one(content: FileBytes, at: int, size: int) -> bool:
    kind, _, cells, begin = struct.unpack(">BHHH", content[at : at + 7])
    begin = begin or 65536
    return kind in B_TREE and 0 < cells < size // 4 and 8 + 2 * cells <= begin <= size
