"""Tables as files: text that is harmless, and numbers as they were."""

import csv
import gzip
import io

import pytest

from daq.keep.package.cells import harmless_cell, plain_cell
from daq.keep.package.tables import Field, Table, read_table, write_table

TEXTS = [
    "=1+1",
    "+49",
    "-cmd|'/c calc'!A0",
    "@SUM(A1)",
    "\tx",
    "\rx",
    "\nx",
    "＝1",
    "＋1",
    "－1",
    "＠x",
    "'quoted",
    "''",
    "plain",
    "7",
    "",
    "a=b",
]
FORMS = ("parquet", "csv.gz")


@pytest.mark.parametrize("text", TEXTS)
def test_text_that_a_spreadsheet_would_compute_is_harmless_and_comes_back(text):
    cell = harmless_cell(text)

    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n", *"＝＋－＠"))  # OWASP, CSV Injection
    assert plain_cell(cell) == text


@pytest.mark.parametrize("form", FORMS)
def test_a_written_table_comes_back_and_numbers_are_as_they_were(tmp_path, form):
    fields = (Field("text", "string", "t"), Field("number", "number", "n"))
    numbers = [-float(i) for i in range(len(TEXTS))]
    path = write_table(Table("t", "t", fields, (TEXTS, numbers)), tmp_path, form)

    read = read_table(tmp_path, "t")
    assert [one or "" for one in read["text"]] == TEXTS
    assert [float(one) for one in read["number"]] == numbers
    assert path.stat().st_mode & 0o777 == 0o600
    if form == "csv.gz":
        rows = list(csv.reader(io.StringIO(gzip.decompress(path.read_bytes()).decode(), newline="")))
        assert rows[1] == ["'=1+1", "-0.0"]
        assert rows[2][1] == "-1.0"


@pytest.mark.parametrize("form", FORMS)
def test_a_table_without_rows_comes_back_as_one(tmp_path, form):
    """As the notifications of a jig without a power sensor are."""
    fields = (Field("at_us", "integer", ""), Field("n", "number", ""), Field("who", "string", ""))
    write_table(Table("none", "", fields, ([], [], [])), tmp_path, form)

    assert read_table(tmp_path, "none") == {"at_us": [], "n": [], "who": []}
