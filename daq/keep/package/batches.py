"""A table's columns a few thousand rows at a time, so that its length costs no memory, from either format. Both formats
can hold far more than their size suggests. What they announce is checked first: rows and unpacked bytes are limited in
proportion to the file's size.
"""

from __future__ import annotations

import contextlib
import csv
import os
from collections.abc import Generator, Iterator, Sequence
from pathlib import Path
from typing import Any, BinaryIO

from daq.keep.bounded import MIB, Refused, gzip_lines, in_words, open_plain
from daq.keep.errors import StoreError
from daq.keep.package.cells import plain_cell
from daq.keep.package.parquet_pages import unpacked_bytes
from daq.words import counted

ROWS = 20_000
"""Rows in a batch; as many as the scans in a closed chunk."""
MOST_FILE_BYTES = 1024 * MIB
MOST_UNPACKED = (16 * MIB, 50)
MOST_ROWS = (10_000, 1)
"""The first, plus the second for each byte of the file. Receipt times and the noise of one channel take at
least three bytes a row."""
MOST_CELL_BYTES = MOST_LINE_BYTES = MIB
MOST_PAGE_BYTES = 32 * MIB
MOST_TEXT = (64 * MIB, 50)
"""All text of a table, counted once per occurrence: a dictionary encoding repeats it at no cost."""
MOST_COLUMNS, MOST_ROW_GROUPS = 128, 1024
MOST_FOOTER_BYTES = 4 * MIB
"""Unpacked in memory, it may take ten times as much. Measured of a sweep: 15 KiB."""


def batches(path: Path, columns: Sequence[str] | None = None) -> Generator[dict[str, list[Any]], None, None]:
    """The columns of a table, or some of them, in batches of rows. Text of a CSV stays text; missing values are "".
    Whoever may stop before the end closes it, and with it the file. Raises Refused for a file that unpacks to more than
    its size allows or is not such a table, StoreError without pyarrow.
    """
    yield from (_parquet if path.suffix == ".parquet" else _csv)(path, columns)


def column_names(path: Path) -> list[str]:
    """The names of a table's columns."""
    if path.suffix != ".parquet":
        most_bytes = _times(MOST_UNPACKED, path)
        with contextlib.closing(gzip_lines(path, most_bytes=most_bytes, most_line=MOST_LINE_BYTES)) as lines:
            return next(csv.reader(lines), [])
    import pyarrow.parquet as parquet

    with open_plain(path, most_bytes=MOST_FILE_BYTES) as raw:
        _check_footer(raw, path)
        names: list[str] = parquet.ParquetFile(raw).schema_arrow.names
    return names


def _csv(path: Path, columns: Sequence[str] | None) -> Iterator[dict[str, list[Any]]]:
    csv.field_size_limit(max(csv.field_size_limit(), MOST_CELL_BYTES))  # for the whole process; a rig file is one cell
    most_bytes = _times(MOST_UNPACKED, path)
    with contextlib.closing(gzip_lines(path, most_bytes=most_bytes, most_line=MOST_LINE_BYTES)) as lines:
        yield from _rows_in_batches(path, csv.reader(lines, strict=True), columns)


def _rows_in_batches(path: Path, rows: Any, columns: Sequence[str] | None) -> Iterator[dict[str, list[Any]]]:
    """rows: a reader of the csv module."""
    try:
        names: list[str] = next(rows, [])
        wanted = _places(path, names, columns)
        batch: list[list[str]] = []
        for row in rows:
            if len(row) != len(names):
                raise Refused(f"{path}, line {rows.line_num}: expected {len(names)} cells, got {len(row)}")
            batch.append(row)
            if len(batch) == ROWS:
                yield {name: [plain_cell(row[at]) for row in batch] for name, at in wanted.items()}
                batch = []
        if batch:
            yield {name: [plain_cell(row[at]) for row in batch] for name, at in wanted.items()}
    except csv.Error as error:
        raise Refused(f"{path}, line {rows.line_num}: not a table: {error}") from error


def _parquet(path: Path, columns: Sequence[str] | None) -> Iterator[dict[str, list[Any]]]:
    try:
        import pyarrow
        import pyarrow.parquet as parquet
    except ImportError as error:
        raise StoreError(f"{path} needs pyarrow: pip install 'foreaft[parquet]'") from error
    with open_plain(path, most_bytes=MOST_FILE_BYTES) as raw:
        try:
            _check_footer(raw, path)
            texts = _checked_parquet(raw, path, parquet.ParquetFile(raw))
            file = parquet.ParquetFile(raw, read_dictionary=texts, pre_buffer=False)
            wanted = list(_places(path, file.schema_arrow.names, columns))
            left = _times(MOST_TEXT, path)
            for batch in file.iter_batches(ROWS, columns=wanted, use_threads=False):
                found = {}
                for name, column in zip(batch.schema.names, batch.columns, strict=True):
                    found[name], text_bytes = _values(column)
                    left -= text_bytes
                if left < 0:
                    raise Refused(f"{path}: expected at most {in_words(_times(MOST_TEXT, path))} of text, got more")
                yield found
        except (pyarrow.ArrowException, ValueError, OSError, MemoryError) as error:
            if isinstance(error, Refused):
                raise
            raise Refused(f"{path}: not a Parquet table: {str(error).partition(chr(10))[0]}") from error


def _check_footer(raw: BinaryIO, path: Path) -> None:
    """A reader takes the whole footer into memory. The file ends with its length and a mark (Parquet, file format)."""
    raw.seek(-min(8, raw.seek(0, os.SEEK_END)), os.SEEK_END)
    length = int.from_bytes(raw.read(4), "little")
    if length > MOST_FOOTER_BYTES:
        raise Refused(f"{path}: a footer of {in_words(length)}; expected at most {in_words(MOST_FOOTER_BYTES)}")
    raw.seek(0)


def _checked_parquet(raw: Any, path: Path, file: Any) -> list[str]:
    """Names of the text columns, after everything the file announces has been checked."""
    metadata, schema = file.metadata, file.schema_arrow
    if metadata.num_columns > MOST_COLUMNS or metadata.num_row_groups > MOST_ROW_GROUPS:
        raise Refused(f"{path}: {metadata.num_columns} columns in {metadata.num_row_groups} row groups; expected fewer")
    if metadata.num_rows > _times(MOST_ROWS, path):
        rows = counted(metadata.num_rows, "row")
        raise Refused(f"{path}: {rows}; expected at most {_times(MOST_ROWS, path)} in a file like it")
    kinds = {str(field.type) for field in schema}
    if not kinds <= {"int64", "double", "string", "bool"}:
        raise Refused(f"{path}: expected columns of numbers, text and truth values, got {', '.join(sorted(kinds))}")
    if unpacked_bytes(raw, metadata, most_page=MOST_PAGE_BYTES) > _times(MOST_UNPACKED, path):
        raise Refused(f"{path} unpacks to more than {MOST_UNPACKED[1]} times its size")
    raw.seek(0)
    return [field.name for field in schema if str(field.type) == "string"]


def _values(column: Any) -> tuple[list[Any], int]:
    """The values of one column of a batch, and how many bytes of text they are; equal texts are one object."""
    if not hasattr(column, "dictionary"):
        return column.to_pylist(), 0
    words = column.dictionary.to_pylist()
    lengths = [len(word or "") for word in words]
    places = column.indices.to_pylist()
    return [None if at is None else words[at] for at in places], sum(lengths[at] for at in places if at is not None)


def _places(path: Path, names: Sequence[str], columns: Sequence[str] | None) -> dict[str, int]:
    missing = [name for name in columns or () if name not in names]
    if missing or not names or len(set(names)) < len(names):
        raise Refused(f"{path}: expected columns {', '.join(columns or ('of different names',))}, got {_shown(names)}")
    return {name: names.index(name) for name in (names if columns is None else columns)}


def _shown(names: Sequence[str]) -> str:
    return ", ".join(names)[:200] or "none"


def _times(bound: tuple[int, int], path: Path) -> int:
    return bound[0] + bound[1] * path.stat().st_size
