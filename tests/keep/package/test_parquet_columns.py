"""Columns to Arrow and back, against pyarrow's own conversions, which load pandas."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pyarrow as arrow
import pytest
from pyarrow import parquet

from daq.keep.package.parquet_columns import arrow_column, floats_of
from daq.keep.package.tables import Field, Table, read_columns, write_table

ROOT = Path(__file__).parents[3]
COLUMNS = {
    "whole": ("integer", [1, -(2**63), 2**63 - 1]),
    "gaps": ("integer", [1, None, 3]),
    "counts": ("integer", np.array([7, -8, 9], dtype=np.int32)),
    "steps": ("integer", np.array([1.0, np.nan, 3.0])),
    "force": ("number", np.array([0.1, np.nan, -np.inf])),
    "mixed": ("number", [1, None, float("nan")]),
    "none": ("number", [None, None, None]),
    "yes": ("boolean", [True, None, False]),
    "flags": ("boolean", np.array([True, False, True])),
    "words": ("string", ["", None, "Grüße, ∞"]),
    "names": ("string", np.array(["a", "bc", ""])),
}
TYPES = {"integer": arrow.int64(), "number": arrow.float64(), "boolean": arrow.bool_(), "string": arrow.string()}


@pytest.mark.parametrize("name", COLUMNS)
def test_a_column_is_what_pyarrow_makes_of_it(name):
    kind, column = COLUMNS[name]
    for piece in (column, column[:0]):
        expected = arrow.array(piece, TYPES[kind], from_pandas=True)

        found = arrow_column(piece, kind)

        found.validate(full=True)
        assert found.equals(expected)


@pytest.mark.parametrize(("kind", "column"), [("integer", [1, 2.5]), ("integer", np.array([0.5])), ("boolean", [2])])
def test_a_number_that_the_column_cannot_hold_is_refused(kind, column):
    with pytest.raises(ValueError, match=f"expected a column of kind {kind}"):
        arrow_column(column, kind)


def written(folder):
    fields = tuple(Field(name, kind, name) for name, (kind, _) in COLUMNS.items())
    return write_table(Table("t", "t", fields, tuple(column for _, column in COLUMNS.values())), folder, "parquet")


def test_floats_are_those_of_pyarrow(tmp_path):
    whole = parquet.read_table(written(tmp_path))
    names = ("gaps", "counts", "steps", "force", "none")
    for sliced in (whole, whole.slice(1, 1)):
        found = [np.concatenate([floats_of(chunk) for chunk in sliced[name].chunks]) for name in names]
        np.testing.assert_array_equal(found, [sliced[name].to_numpy() for name in names])
    np.testing.assert_array_equal(read_columns(tmp_path, "t", names), [whole[name].to_numpy() for name in names])


def test_pandas_stays_away(tmp_path):
    """It takes longer to load than hundreds of such files to read."""
    command = (
        "import sys; from pathlib import Path; from daq.keep.package.tables import read_columns\n"
        "from tests.keep.package.test_parquet_columns import written\n"
        "folder = Path(sys.argv[1]); written(folder); read_columns(folder, 't', ('gaps', 'force'))\n"
        "assert 'pandas' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", command, tmp_path], cwd=ROOT, check=True)
