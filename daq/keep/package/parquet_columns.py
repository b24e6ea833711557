"""Columns to Arrow and back through their memory. pyarrow's own conversions load pandas first where it is installed,
which takes as long as reading hundreds of files.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal

import numpy as np

from daq.values import Array, Bools, Ints

FieldType = Literal["integer", "number", "string", "boolean", "object", "array"]
"""object and array: JSON text."""

_DTYPES: dict[str, Any] = {"integer": np.int64, "number": np.float64, "boolean": np.bool_}


def arrow_column(column: Sequence[Any] | Array | Ints, kind: FieldType) -> Any:
    """The column as an Arrow array; None and NaN are null. ValueError for an integer column with other numbers."""
    import pyarrow as arrow

    types: dict[FieldType, Any] = {"integer": arrow.int64(), "number": arrow.float64(), "boolean": arrow.bool_()}
    if kind not in types:
        return _texts(column)
    known, values = _numbers(column, kind)
    content = np.packbits(values, bitorder="little") if kind == "boolean" else values
    return arrow.Array.from_buffers(types[kind], len(values), [_bits(known), arrow.py_buffer(content)])


def floats_of(chunk: Any) -> Array:
    """A piece of a column of numbers, NaN where missing."""
    kind = np.dtype(np.int64 if str(chunk.type) == "int64" else np.float64)
    if str(chunk.type) not in ("int64", "double"):
        return np.asarray(chunk.to_numpy(zero_copy_only=False), dtype=np.float64)
    here = slice(chunk.offset, chunk.offset + len(chunk))
    known, numbers = chunk.buffers()
    values = np.frombuffer(numbers, kind)[here].astype(np.float64)
    if chunk.null_count:
        values[np.unpackbits(np.frombuffer(known, np.uint8), bitorder="little")[here] == 0] = np.nan
    return values


def _numbers(column: Sequence[Any] | Array | Ints, kind: FieldType) -> tuple[Bools, Any]:
    """Which values are known, and all of them, 0 where they are not."""
    if isinstance(column, np.ndarray):
        known = column == column  # NaN is not equal to itself
        values = np.where(known, column, 0)
    else:
        known = np.array([value is not None and value == value for value in column], dtype=np.bool_)
        values = np.array([value if there else 0 for value, there in zip(column, known, strict=True)])
    exact: Any = values.astype(_DTYPES[kind])
    if kind != "number" and not np.array_equal(exact, values):
        raise ValueError(f"expected a column of kind {kind}, got other values")
    return known, exact


def _texts(column: Sequence[Any] | Array | Ints) -> Any:
    import pyarrow as arrow

    words = [None if text is None or text != text else text.encode() for text in column]
    ends = np.cumsum([0, *(len(word or b"") for word in words)], dtype=np.int32)
    known = np.array([word is not None for word in words], dtype=np.bool_)
    content = b"".join(word or b"" for word in words)
    buffers = [_bits(known), arrow.py_buffer(ends), arrow.py_buffer(content)]
    return arrow.Array.from_buffers(arrow.string(), len(words), buffers)


def _bits(known: Bools) -> Any:
    """Arrow's bitmap; None when all are known."""
    import pyarrow as arrow

    return None if known.all() else arrow.py_buffer(np.packbits(known, bitorder="little"))
