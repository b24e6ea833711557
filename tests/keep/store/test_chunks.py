import dataclasses
import struct
from concurrent.futures import ThreadPoolExecutor

import hypothesis.extra.numpy as arrays
import numpy as np
import pyarrow
import pytest
import zstandard
from hypothesis import given
from hypothesis import strategies as st

from daq.keep.store import chunks
from daq.keep.store.checksums import row_crc
from daq.values import Samples
from tests.keep.jig import pedalling, same


def by_the_docstring(chunk: bytes, source: str) -> Samples:
    """A second decoder, written from the layout in plain Python integers; zstd through Apache Arrow."""
    codec, order, channels, scans = struct.unpack_from("<BBHI", chunk)
    assert codec == 1
    size = scans * (15 + 4 * channels)
    body = pyarrow.decompress(chunk[8:], decompressed_size=size, codec="zstd", asbytes=True)

    def column(width: int, count: int) -> list[int]:
        nonlocal body
        taken, body = body[: width * count], body[width * count :]
        return [sum(taken[plane * count + i] << (8 * plane) for plane in range(width)) for i in range(count)]

    def unfold(x: int) -> int:
        return -(x + 1) // 2 if x % 2 else x // 2

    def summed(x: list[int], bits: int, signed: bool) -> list[int]:
        total, out = 0, []
        for step in x:
            total = (total + step) % 2**bits
            out.append(total - 2**bits if signed and total >= 2 ** (bits - 1) else total)
        return out

    received = summed([unfold(x) for x in column(8, scans)], 64, True)
    ticks = summed(summed([unfold(x) for x in column(4, scans)], 32, False), 32, False)
    sequence = summed(column(2, scans), 16, False)
    status = column(1, scans)
    folded = column(4, scans * channels)
    counts = []
    for k in range(channels):
        steps = [unfold(x) for x in folded[k * scans : (k + 1) * scans]]
        for _ in range(order):
            steps = summed(steps, 32, True)
        counts.append(steps)
    return Samples(
        source,
        np.array(received, np.int64),
        np.array(ticks, np.uint32),
        np.array(sequence, np.uint16),
        np.array(status, np.uint8),
        np.array(counts, np.int32).reshape(channels, scans).T,
    )


@st.composite
def any_samples(draw: st.DrawFn) -> Samples:
    scans, channels = draw(st.integers(1, 40)), draw(st.integers(0, 5))
    columns = [draw(arrays.arrays(dtype, scans)) for dtype in (np.int64, np.uint32, np.uint16, np.uint8)]
    return Samples("jig", *columns, draw(arrays.arrays(np.int32, (scans, channels))))


def test_threads_that_pack_and_unpack_at_once_do_not_meet():
    seconds = [pedalling(scans=200, from_us=second * 1_000_000) for second in range(8)]
    alone = [chunks.encode(second) for second in seconds]

    def again(number: int) -> bool:
        chunk = chunks.encode(seconds[number % 8])
        return chunk == alone[number % 8] and same(chunks.decode(chunk, source="jig"), seconds[number % 8])

    with ThreadPoolExecutor(4) as pool:
        assert all(pool.map(again, range(2000)))


@given(any_samples())
def test_whatever_a_board_may_send_comes_back_to_the_last_bit(samples):
    assert same(chunks.decode(chunks.encode(samples), source="jig"), samples)


@pytest.mark.parametrize("scans", [1, 2, 3, 250])
def test_a_decoder_written_from_the_layout_alone_reads_the_same(scans):
    samples = pedalling(scans=scans, channels=3, from_us=5_000_000)

    assert same(by_the_docstring(chunks.encode(samples), "jig"), samples)


@given(any_samples(), st.data())
def test_a_changed_byte_never_passes_the_checksum(samples, data):
    chunk = bytearray(chunks.encode(samples))
    row = {"session_id": 1, "source_id": 1, "first_us": 0, "last_us": 9, "scans": len(samples), "channels": 1}
    kept = row_crc("chunks", {**row, "bytes": bytes(chunk)})
    chunk[data.draw(st.integers(0, len(chunk) - 1))] ^= data.draw(st.integers(1, 255))

    assert row_crc("chunks", {**row, "bytes": bytes(chunk)}) != kept


@given(st.binary(max_size=200))
def test_any_bytes_give_samples_or_a_bad_chunk_and_nothing_else(noise):
    try:
        samples = chunks.decode(noise, source="jig")
    except chunks.BadChunk:
        return
    assert same(chunks.decode(chunks.encode(samples), source="jig"), samples)


def test_the_body_is_a_zstd_frame():
    chunk = chunks.encode(pedalling(scans=10))

    assert struct.unpack_from("<I", chunk, 8) == (0xFD2FB528,)  # RFC 8878, section 3.1.1


def test_a_huge_announced_size_is_refused_without_taking_the_memory():
    chunk = struct.pack("<BBHI", 1, 1, 65535, 2**32 - 1) + chunks.encode(pedalling(scans=10))[8:]

    with pytest.raises(chunks.BadChunk, match="expected"):
        chunks.decode(chunk, source="jig")


def test_a_frame_that_announces_more_than_its_scans_is_refused_without_taking_the_memory():
    head = struct.pack("<BBHI", 1, 1, 8, 10)
    frame = b"\x28\xb5\x2f\xfd\xe0" + struct.pack("<Q", 2**40) + b"\x01\x00\x00"  # RFC 8878, 3.1.1.1: 1 TiB

    with pytest.raises(chunks.BadChunk, match=r"expected 470 bytes for 10 scans of 8 channels, got 1099511627776$"):
        chunks.decode(head + frame, source="jig")


def test_columns_of_different_length_are_refused():
    good = pedalling(scans=4, channels=2)
    bad = Samples("jig", good.received_us[:3], good.ticks_us, good.sequence, good.status, good.counts)

    with pytest.raises(ValueError, match=r"jig: expected columns equally long, got lengths \[3, 4\]"):
        chunks.encode(bad)


@pytest.mark.parametrize("scans", [1_766_023, 10**9])
def test_a_chunk_that_announces_more_than_one_of_ours_can_hold_is_not_opened(scans):
    """19 bytes a scan of one channel: 2**25 bytes are 1,766,022 scans."""
    announced = struct.pack("<BBHI", chunks.CODEC, 1, 1, scans)

    with pytest.raises(chunks.BadChunk, match="expected at most 33554432 bytes unpacked"):
        chunks.unpacked(announced)
    with pytest.raises(chunks.BadChunk, match="determining content size"):
        chunks.unpacked(struct.pack("<BBHI", chunks.CODEC, 1, 1, 1_766_022))


def test_no_more_channels_than_a_head_can_count_are_packed():
    one = pedalling(scans=1, channels=1)
    many = [dataclasses.replace(one, counts=np.zeros((1, n), np.int32)) for n in (65_535, 65_536)]

    assert chunks.decode(chunks.encode(many[0]), source=one.source).counts.shape == (1, 65_535)
    with pytest.raises(ValueError, match="at most 65535 channels"):
        chunks.encode(many[1])


def test_a_frame_that_does_not_say_its_size_and_holds_less_than_its_head_promises_is_no_chunk():
    whole = chunks.encode(pedalling(scans=40, channels=2))
    packer = zstandard.ZstdCompressor(write_content_size=False)
    short = whole[:8] + packer.compress(zstandard.ZstdDecompressor().decompress(whole[8:])[:-1])

    with pytest.raises(chunks.BadChunk, match="got"):
        chunks.decode(short, source="board")
