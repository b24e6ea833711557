"""Tables with units, written as Parquet or gzipped CSV, the same bytes every time.

A column is a numpy array or a list; None and NaN are missing: null in Parquet, an empty cell in CSV.
"""

from __future__ import annotations

import csv
import gzip
import io
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, Literal

import numpy as np

from daq.keep.errors import StoreError
from daq.keep.package.batches import batches, column_names
from daq.keep.package.cells import harmless_cell
from daq.keep.package.parquet_columns import FieldType, arrow_column, floats_of
from daq.keep.private import new_file
from daq.values import Array

TEXTS = ("string", "object", "array")
Form = Literal["parquet", "csv.gz", "csv"]


@dataclass(frozen=True, slots=True)
class Field:
    """One column: what it is, and its unit as a UCUM code where it has one."""

    name: str
    type: FieldType
    description: str
    unit: str | None = None
    categories: Mapping[str, str] | None = None
    """What may stand in it, and what each means; None: anything."""
    json_schema: Mapping[str, Any] | None = None
    """Of an object or array."""


@dataclass(frozen=True, slots=True)
class Table:
    """Columns of equal length under their fields."""

    name: str
    description: str
    fields: tuple[Field, ...]
    columns: tuple[Any, ...]

    def __post_init__(self) -> None:
        lengths = {len(column) for column in self.columns}
        if len(lengths) > 1 or len(self.columns) != len(self.fields):
            raise ValueError(f"{self.name}: expected a column of equal length for each of {len(self.fields)} fields")

    def __len__(self) -> int:
        return len(self.columns[0])


SWEEP = Field("sweep", "string", "name of the sweep, the same in all tables")


def table_of_rows(name: str, description: str, fields: tuple[Field, ...], rows: Sequence[tuple[Any, ...]]) -> Table:
    """A table from its rows; without rows it still has its fields."""
    columns = tuple(list(column) for column in zip(*rows, strict=True)) if rows else tuple([] for _ in fields)
    return Table(name, description, fields, columns)


def preferred_form() -> Form:
    """Parquet if pyarrow is installed (the parquet extra), otherwise gzipped CSV."""
    try:
        import pyarrow.parquet  # noqa: F401
    except ImportError:
        return "csv.gz"
    return "parquet"


def write_table(table: Table, folder: Path, form: Form) -> Path:
    """Writes the table into the folder as its name and form; the path."""
    path = folder / f"{table.name}.{form}"
    path.unlink(missing_ok=True)
    with new_file(path) as file:
        if form == "parquet":
            _write_parquet(table, file)
        else:
            file.write(_gz(_csv(table)) if form == "csv.gz" else _csv(table))
    return path


def read_table(folder: Path, name: str) -> dict[str, list[Any]]:
    """A table's columns by name, from whichever form lies in the folder. Text of a CSV becomes numbers again.

    Raises StoreError when there is none, or when it needs pyarrow and pyarrow is not installed; Refused (a ValueError)
    when it is no such table or more than its size accounts for.
    """
    found: dict[str, list[Any]] = {}
    for batch in batches(table_path(folder, name)):
        for column, values in batch.items():
            found.setdefault(column, []).extend(values)
    return found or {column: [] for column in column_names(table_path(folder, name))}


def table_path(folder: Path, name: str) -> Path:
    """The path of a table, in whichever format. StoreError if there is none."""
    forms: tuple[Form, ...] = ("parquet", "csv.gz")
    for form in forms:
        if (path := folder / f"{name}.{form}").exists():
            return path
    raise StoreError(f"{folder}: no table {name} (neither .parquet nor .csv.gz)")


def read_columns(folder: Path, name: str, columns: Sequence[str]) -> list[Array]:
    """Some numeric columns of a table as floats, NaN where missing; of a Parquet file nothing else is read."""
    if (folder / f"{name}.parquet").exists():
        import pyarrow as arrow
        import pyarrow.parquet as parquet

        with arrow.memory_map(str(folder / f"{name}.parquet")) as file:
            table = parquet.ParquetFile(file, pre_buffer=False).read(columns=list(columns), use_threads=False)
        pieces = ([floats_of(chunk) for chunk in table.column(column).chunks] for column in columns)
        return [one[0] if len(one) == 1 else np.concatenate([np.zeros(0), *one]) for one in pieces]
    read = read_table(folder, name)
    return [np.array([float(cell) if cell != "" else np.nan for cell in read[column]]) for column in columns]


def _write_parquet(table: Table, file: BinaryIO) -> None:
    import pyarrow as arrow
    import pyarrow.parquet as parquet

    kinds = {"integer": arrow.int64(), "number": arrow.float64(), "boolean": arrow.bool_()}
    kinds |= dict.fromkeys(TEXTS, arrow.string())
    schema = arrow.schema(
        [
            arrow.field(
                field.name,
                kinds[field.type],
                metadata={"description": field.description, **({"unit": field.unit} if field.unit else {})},
            )
            for field in table.fields
        ]
    )
    arrays = [arrow_column(column, field.type) for field, column in zip(table.fields, table.columns, strict=True)]
    texts = [field.name for field in table.fields if field.type in TEXTS]
    parquet.write_table(
        arrow.Table.from_arrays(arrays, schema=schema),
        file,
        compression="zstd",
        compression_level=9,
        use_dictionary=texts,
        column_encoding={field.name: "DELTA_BINARY_PACKED" for field in table.fields if field.type == "integer"}
        | {field.name: "BYTE_STREAM_SPLIT" for field in table.fields if field.type == "number"},
    )


def _csv(table: Table) -> bytes:
    text = io.StringIO(newline="")
    rows = csv.writer(text, lineterminator="\r\n")
    rows.writerow([field.name for field in table.fields])
    rows.writerows(_cells(table))
    return text.getvalue().encode()


def _gz(content: bytes) -> bytes:
    packed = io.BytesIO()
    with gzip.GzipFile(filename="", mode="wb", fileobj=packed, mtime=0) as file:
        file.write(content)
    return packed.getvalue()


def _cells(table: Table) -> Iterator[tuple[Any, ...]]:
    return zip(*(_texts(column) for column in table.columns), strict=True)


def _texts(column: Sequence[Any]) -> list[Any]:
    values = column.tolist() if isinstance(column, np.ndarray) else column
    return [_text(value) for value in values]


def _text(value: Any) -> Any:
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return harmless_cell(value)
    return repr(value) if isinstance(value, float) else value
