"""Page headers made by hand after the Thrift compact protocol (from memory): none leads a reader astray."""

from types import SimpleNamespace

import pytest

from daq.keep.bounded import MIB
from daq.keep.package.parquet_pages import unpacked_bytes


def varint(value):
    out = b""
    while value >= 0x80:
        out += bytes([value & 0x7F | 0x80])
        value >>= 7
    return out + bytes([value])


def number(field_delta, value, kind=5):
    """A whole number, zigzag, `field_delta` after the field before."""
    return bytes([field_delta << 4 | kind]) + varint((value << 1) ^ (value >> 63))


def page(unpacked, packed, *, more=b""):
    """A header with the fields type, uncompressed_page_size and compressed_page_size, and the page itself."""
    return number(1, 0) + number(1, unpacked) + number(1, packed) + more + b"\0" + bytes(max(packed, 0))


def column(tmp_path, *pages, at=4, length=None, values=1):
    """The file with these pages, and what its footer says of its one column."""
    path = tmp_path / "t.parquet"
    content = b"PAR1" + b"".join(pages)
    path.write_bytes(content)
    chunk = SimpleNamespace(
        dictionary_page_offset=None,
        data_page_offset=at,
        num_values=values,
        path_in_schema="a",
        total_compressed_size=len(content) - 4 if length is None else length,
    )
    group = SimpleNamespace(column=lambda _: chunk)
    return path, SimpleNamespace(num_row_groups=1, num_columns=1, row_group=lambda _: group)


def total(path, metadata, most_page=MIB):
    with path.open("rb") as file:
        return unpacked_bytes(file, metadata, most_page=most_page)


# field 5 of a PageHeader is a struct; within it all the types of the protocol, each passed over
STRUCT = (
    bytes([2 << 4 | 12])
    + (bytes([0x11, 0x12]))  # two truth values, in their type
    + (bytes([0x13, 7]))  # a byte
    + number(1, 300, kind=4)
    + number(1, -5, kind=6)
    + (bytes([0x17]) + bytes(8))  # a double
    + (bytes([0x18, 3]) + b"abc")
    + (bytes([0x19, 0x25]) + varint(2) + varint(4))  # two numbers in a list
    + (bytes([0x1A, 0x21]) + b"\1\2")  # two truth values in a set
    + (bytes([0x19, 0xF3, 20]) + bytes(20))  # a long list of bytes
    + (bytes([0x06]) + varint(2 * 100) + varint(2))  # a field whose number is written out
    + b"\0"
)


def test_pages_add_up_whatever_else_their_headers_say(tmp_path):
    assert total(*column(tmp_path, page(100, 10), page(2000, 20, more=STRUCT), page(7, 0))) == 2107


def test_a_column_without_values_has_no_pages(tmp_path):
    path, metadata = column(tmp_path, at=None, values=0)

    assert total(path, metadata) == 0


@pytest.mark.parametrize(
    ("pages", "said"),
    [
        ([page(MIB + 1, 3)], r"a page of 1048577 bytes, at most 1048576 expected"),
        ([page(-1, 3)], "a page of -1 bytes"),
        ([page(10, -8)], "a page of 10 bytes"),
        ([page(10, 8)[:-4]], "a page of 10 bytes"),  # reaches beyond the column
        ([number(2, 5) + number(1, 5) + b"\0" + bytes(5)], "a page of 5 bytes"),  # no type
        ([b"\x1c" * 30 + bytes(40)], "nested too deep"),
        ([b"\x19" + b"\x19" * 30 + bytes(40)], "nested too deep"),
        ([number(1, 0) + b"\x18\x7f" + b"abc"], "does not end"),
        ([number(1, 0)], "does not end"),
        ([b"\x15" + b"\x80" * 30 + b"\0" * 40], "more than 64 bits"),
        ([b"\x1b" + bytes(40)], "field of type 11"),
    ],
)
def test_a_header_that_deceives_is_refused_by_name(tmp_path, pages, said):
    with pytest.raises(ValueError, match=said):
        total(*column(tmp_path, *pages))


@pytest.mark.parametrize(("at", "length"), [(3, 5), (4, 10**9), (4, -1), (10**9, 5)])
def test_a_column_outside_the_file_is_refused(tmp_path, at, length):
    with pytest.raises(ValueError, match="column a lies outside the file"):
        total(*column(tmp_path, page(1, 1), at=at, length=length))
