"""Parquet from elsewhere: nothing takes memory before it is known how much."""

import os

import pyarrow as arrow
import pyarrow.parquet as parquet
import pytest

from daq.keep.bounded import MIB, Refused
from daq.keep.package import batches as bounds
from daq.keep.package.batches import batches, column_names
from daq.keep.package.parquet_pages import unpacked_bytes


@pytest.mark.parametrize(
    ("columns", "options", "said"),
    [
        ({"a": [0] * 200_000}, {}, "200000 rows; expected at most"),
        ({"a": ["x" * 10_000] * 9000}, {}, r"expected at most .* of text, got more"),
        ({"a": ["x" * 4 * MIB, "y"]}, {"use_dictionary": False}, "unpacks to more than 50 times its size"),
        ({"a": ["x" * 40 * MIB]}, {"use_dictionary": False}, "a page of 4194.* bytes, at most 33554432 expected"),
        ({f"a{i}": [0] for i in range(200)}, {}, "200 columns in 1 row groups; expected fewer"),
        ({"a": [0] * 1025}, {"row_group_size": 1}, "1 columns in 1025 row groups; expected fewer"),
        ({"x" * 5 * MIB: [0]}, {}, r"a footer of .* MiB; expected at most 4 MiB"),
        ({"a": [[1]]}, {}, "expected columns of numbers, text and truth values, got list"),
    ],
)
def test_a_parquet_bomb_is_refused_before_memory_is_taken_for_it(tmp_path, monkeypatch, columns, options, said):
    path = tmp_path / "t.parquet"
    parquet.write_table(arrow.table(columns), path, compression="zstd", **options)
    monkeypatch.setattr(bounds, "MOST_UNPACKED", (1 * MIB if "unpacks" in said else 256 * MIB, 50))
    before = arrow.total_allocated_bytes()

    with pytest.raises(Refused, match=said):
        list(batches(path))
    assert arrow.default_memory_pool().bytes_allocated() - before < 8 * MIB


@pytest.mark.parametrize("read", [column_names, lambda path: list(batches(path))])
def test_a_parquet_file_that_is_none_is_refused_whatever_its_length(tmp_path, read):
    path = tmp_path / "t.parquet"
    path.write_bytes(b"PAR")
    with pytest.raises(ValueError, match=r"footer|Parquet"):
        read(path)
    os.truncate(path, bounds.MOST_FILE_BYTES + 1)
    with pytest.raises(Refused, match="expected at most 1 GiB"):
        read(path)


def test_a_footer_that_makes_its_pages_small_deceives_nobody(tmp_path):
    path = tmp_path / "t.parquet"
    parquet.write_table(arrow.table({"a": ["x" * 40 * MIB]}), path, compression="zstd", use_dictionary=False)

    class Small:
        num_row_groups = num_columns = 1

        def row_group(self, _):
            return self

        def column(self, _):
            return self

        dictionary_page_offset, data_page_offset, path_in_schema = None, 4, "a"
        total_compressed_size = parquet.ParquetFile(path).metadata.row_group(0).column(0).total_compressed_size
        total_uncompressed_size = 10

    with path.open("rb") as file, pytest.raises(ValueError, match=r"a page of 4194\d+ bytes"):
        unpacked_bytes(file, Small(), most_page=MIB)


def test_the_pages_of_a_sound_file_add_up_to_what_its_footer_says(packages):
    for path in packages["parquet"].glob("*.parquet"):
        metadata = parquet.ParquetFile(path).metadata
        told = sum(
            metadata.row_group(g).column(c).total_uncompressed_size
            for g in range(metadata.num_row_groups)
            for c in range(metadata.num_columns)
        )
        with path.open("rb") as file:
            pages = unpacked_bytes(file, metadata, most_page=32 * MIB)
        assert 0 <= pages <= told  # the footer counts the headers too
