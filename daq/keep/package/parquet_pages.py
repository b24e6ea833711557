"""What the pages of a Parquet file announce, read before anybody takes memory for them.

A Parquet file is pages; each begins with a header that says how long it is packed and unpacked, and a reader takes as
much memory as that says. The footer's sums are not those of the pages when somebody wants it so, so the headers
themselves are read here. Layout: Apache Parquet, parquet-format 2.10, PageHeader; Thrift compact protocol.
"""

from __future__ import annotations

import os
from typing import Any, BinaryIO

MOST_HEADER_BYTES = 64 * 1024
_TYPE, _UNPACKED, _PACKED = 1, 2, 3
"""Fields of a PageHeader."""
_DEEPEST = 8
# types of the compact protocol
_TRUE, _FALSE, _BYTE, _I16, _I32, _I64, _DOUBLE, _BINARY, _LIST, _SET, _MAP, _STRUCT = range(1, 13)


def unpacked_bytes(file: BinaryIO, metadata: Any, *, most_page: int) -> int:
    """Bytes of all pages together, unpacked. metadata: pyarrow's, of this file.

    ValueError when a page is larger than most_page, when pages lie outside their column, or when a header is none.
    """
    size = os.fstat(file.fileno()).st_size
    total = 0
    for group in range(metadata.num_row_groups):
        for column in range(metadata.num_columns):
            total += _of_column(file, metadata.row_group(group).column(column), size, most_page)
    return total


def _of_column(file: BinaryIO, chunk: Any, size: int, most_page: int) -> int:
    places = (chunk.dictionary_page_offset, chunk.data_page_offset)
    if not any(places) and not chunk.num_values:
        return 0  # a table without rows has no pages
    at = min(place for place in places if place)
    end = at + chunk.total_compressed_size
    if not 4 <= at <= end <= size:
        raise ValueError(f"column {chunk.path_in_schema} lies outside the file")
    total = 0
    while at < end:
        file.seek(at)
        header = _Compact(file.read(MOST_HEADER_BYTES))
        found = header.numbers()
        unpacked, packed = found.get(_UNPACKED, -1), found.get(_PACKED, -1)
        at += header.at + packed
        if _TYPE not in found or packed < 0 or at > end or not 0 <= unpacked <= most_page:
            raise ValueError(f"column {chunk.path_in_schema}: a page of {unpacked} bytes, at most {most_page} expected")
        total += unpacked
    return total


class _Compact:
    """Thrift's compact protocol, as much of it as it takes to find three numbers and the end of a struct."""

    def __init__(self, data: bytes) -> None:
        self.data, self.at = data, 0

    def numbers(self, depth: int = 0) -> dict[int, int]:
        """The whole numbers of the struct that begins here, by field; all else is passed over."""
        found: dict[int, int] = {}
        field = 0
        while head := self._byte():
            kind = head & 0x0F
            field = field + (head >> 4) if head >> 4 else self._signed()
            if kind in (_I16, _I32, _I64):
                found[field] = self._signed()
            elif kind not in (_TRUE, _FALSE):
                self._pass_over(kind, depth)
        return found

    def _pass_over(self, kind: int, depth: int) -> None:
        if depth > _DEEPEST:
            raise ValueError("a page header nested too deep")
        if kind in (_TRUE, _FALSE, _BYTE):  # in a list, a truth value has a byte of its own
            self._skip(1)
        elif kind in (_I16, _I32, _I64):
            self._signed()
        elif kind == _DOUBLE:
            self._skip(8)
        elif kind == _BINARY:
            self._skip(self._unsigned())
        elif kind in (_LIST, _SET):
            head = self._byte()
            for _ in range(head >> 4 if head >> 4 < 15 else self._unsigned()):
                self._pass_over(head & 0x0F, depth + 1)
        elif kind == _STRUCT:
            self.numbers(depth + 1)
        else:
            raise ValueError(f"a page header with a field of type {kind}")

    def _skip(self, count: int) -> None:
        self.at += count
        if self.at > len(self.data):
            raise ValueError("a page header that does not end")

    def _byte(self) -> int:
        self._skip(1)
        return self.data[self.at - 1]

    def _unsigned(self) -> int:
        value = shift = 0
        while True:
            byte = self._byte()
            value |= (byte & 0x7F) << shift
            shift += 7
            if byte < 0x80:
                return value
            if shift > 63:
                raise ValueError("a page header with a number of more than 64 bits")

    def _signed(self) -> int:
        value = self._unsigned()
        return (value >> 1) ^ -(value & 1)
