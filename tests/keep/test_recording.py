import hashlib
import json
import struct
import zlib

import numpy as np
import pyarrow
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.items import Event, Notification, WireBytes
from daq.keep.recording import MAGIC, BadRecording, RecordingWriter, read_recording
from daq.values import cut
from daq.wire.scans import encode_scans
from tests.keep.jig import pedalling

HEADER = {"rig": 'name = "workshop"\n', "rider_mass_kg": 71.5, "simulated": True, "onset_mm": 93.25}
UUID = "00002a63-0000-1000-8000-00805f9b34fb"
ITEMS = [
    WireBytes(900, "jig", bytes(range(256))),
    Notification(1_000, "power", UUID, b"\x30\x00"),
    WireBytes(1_900, "jig", b""),
    Event(2_000_000, "saddle_moved", {"setback_mm": 95.5}),
    WireBytes(8_000_000, "jig", b"later"),
]


@pytest.fixture
def path(tmp_path):
    return tmp_path / "ride.rec"


def write(path, items, header=HEADER):
    with RecordingWriter(path, header) as writer:
        for item in items:
            writer.add(item)


def test_header_and_items_come_back(path):
    write(path, ITEMS)

    recording = read_recording(path)
    assert recording.header == HEADER
    assert list(recording.items()) == ITEMS
    assert recording.complete
    assert recording.problems == ()


def blocks_of(content):
    """The unpacked blocks, by the layout in the module's docstring; zstd through Apache Arrow."""
    at = content.index(b"\n") + 1
    while at < len(content):
        length, crc = struct.unpack_from("<II", content, at)
        packed = content[at + 8 : at + 8 + length]
        assert zlib.crc32(packed) == crc
        with pyarrow.input_stream(pyarrow.py_buffer(packed), compression="zstd") as stream:
            yield stream.read()
        at += 8 + length


def test_a_reader_written_from_the_layout_alone_finds_the_same(path):
    write(path, ITEMS)
    content = path.read_bytes()

    assert content.startswith(b"foreaft recording 1\n")
    header, *middle, end = blocks_of(content)
    assert json.loads(header) == HEADER
    found, payloads = [], b""
    for block in middle:
        (length,) = struct.unpack_from("<I", block)
        table, rest = json.loads(block[4 : 4 + length]), block[4 + length :]
        payloads += rest
        now_us = 0
        for of, dt_us, size in zip(table["of"], table["dt_us"], table["size"], strict=True):
            now_us += dt_us
            found.append((now_us, *table["kinds"][of], rest[:size]))
            rest = rest[size:]
    assert found == [
        (900, "wire", "jig", bytes(range(256))),
        (1_000, "notification", "power", UUID, b"\x30\x00"),
        (1_900, "wire", "jig", b""),
        (2_000_000, "event", "saddle_moved", b'{"setback_mm":95.5}'),
        (8_000_000, "wire", "jig", b"later"),
    ]
    assert json.loads(end) == {"end": True, "items": 5, "sha256": hashlib.sha256(payloads).hexdigest()}


def test_cut_off_anywhere_it_reads_up_to_the_last_whole_block(path):
    items = [WireBytes(1_000_000 * i, "jig", b"%d" % i) for i in range(40)]
    write(path, items)
    content = path.read_bytes()
    first_block_end = len(MAGIC) + 8 + struct.unpack_from("<I", content, len(MAGIC))[0]

    for length in range(first_block_end, len(content)):
        path.write_bytes(content[:length])
        recording = read_recording(path)
        found = list(recording.items())
        assert found == items[: len(found)]
        assert not recording.complete
        assert recording.problems == ("it was cut off: the last block is missing",)


def test_what_was_flushed_is_there_without_closing(path):
    writer = RecordingWriter(path, HEADER)
    for item in ITEMS[:3]:
        writer.add(item)
    writer.flush()

    assert list(read_recording(path).items()) == ITEMS[:3]
    writer.close()


def test_a_damaged_block_costs_that_block_alone_and_is_named(path):
    items = [WireBytes(1_000_000 * i, "jig", b"%d" % i) for i in range(18)]
    write(path, items)
    content = bytearray(path.read_bytes())
    at = len(MAGIC)
    at += 8 + struct.unpack_from("<I", content, at)[0]
    content[at + 20] ^= 1
    path.write_bytes(content)

    recording = read_recording(path)
    assert list(recording.items()) == items[6:]
    assert not recording.complete
    assert recording.problems == (f"block 2 at byte {at} is damaged and left out",)


def test_an_existing_file_is_not_overwritten(path):
    path.write_bytes(b"precious")

    with pytest.raises(FileExistsError):
        RecordingWriter(path, HEADER)
    assert path.read_bytes() == b"precious"


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"", "is not a recording: expected it to begin with 'foreaft recording 1'"),
        (b"PK\x03\x04 something else", "is not a recording"),
        (MAGIC, "the header block is damaged or missing"),
        (MAGIC + struct.pack("<II", 4, 0) + b"abcd", "the header block is damaged or missing"),
    ],
)
def test_a_file_without_a_readable_header_is_refused_with_the_reason(path, content, reason):
    path.write_bytes(content)

    with pytest.raises(BadRecording, match=reason):
        read_recording(path)


@given(st.binary(max_size=100), st.integers(0, 2**16))
def test_noise_in_a_recording_is_a_problem_or_a_bad_recording_and_nothing_else(tmp_path_factory, noise, place):
    path = tmp_path_factory.mktemp("noise") / "ride.rec"
    write(path, ITEMS)
    content = path.read_bytes()
    place %= len(content)
    path.write_bytes(content[:place] + noise + content[place + len(noise) :])

    try:
        found = list(read_recording(path).items())
    except BadRecording:
        return
    assert all(item in ITEMS for item in found)


def test_an_eleven_step_sweep_of_six_minutes_stays_below_a_megabyte(path):
    rng = np.random.default_rng(5)
    ride = pedalling(scans=36_000, rate_hz=100, channels=5, source="board")
    with RecordingWriter(path, HEADER) as writer:
        for i in range(0, len(ride), 4):
            read = encode_scans(cut(ride, slice(i, i + 4)))
            writer.add(WireBytes(i * 10_000 + int(rng.integers(0, 900)), "board", read))
            if i % 24 == 0:
                writer.add(Notification(i * 10_000 + 5_000, "power", UUID, b"\x20\x00" + rng.bytes(6)))

    assert path.stat().st_size < 1_000_000
    assert sum(len(item.payload) for item in read_recording(path).items()) > 1_000_000
