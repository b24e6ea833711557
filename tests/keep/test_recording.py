import hashlib
import json
import os
import struct
import tracemalloc

import numpy as np
import pytest

from daq.items import Event, Notification, WireBytes
from daq.keep import recording as recordings
from daq.keep.bounded import MIB
from daq.keep.recording import FULL_BLOCK, RecordingWriter, read_recording
from daq.keep.recording_blocks import MAGIC, BadRecording
from daq.values import cut
from daq.wire.scans import encode_scans
from tests.keep.jig import pedalling
from tests.keep.recordings import HEADER, ITEMS, UUID, WIRE, block, blocks_of, hand_made, table_block, write


@pytest.fixture
def path(tmp_path):
    return tmp_path / "ride.rec"


def test_header_and_items_come_back(path):
    write(path, ITEMS)

    recording = read_recording(path)
    assert recording.header == HEADER
    assert list(recording.items()) == ITEMS
    assert recording.complete
    assert recording.problems == ()


def test_a_reader_written_from_the_layout_alone_finds_the_same(path):
    write(path, ITEMS)
    content = path.read_bytes()

    assert content.startswith(b"foreaft recording 1\n")
    header, *middle, end = blocks_of(content)
    assert json.loads(header) == HEADER
    found, payloads = [], b""
    for unpacked in middle:
        (length,) = struct.unpack_from("<I", unpacked)
        table, rest = json.loads(unpacked[4 : 4 + length]), unpacked[4 + length :]
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
    assert json.loads(end) == {
        "end": True,
        "items": 5,
        "sha256": hashlib.sha256(payloads).hexdigest(),
        "header": HEADER,
        "events": [[2_000_000, "saddle_moved", {"setback_mm": 95.5}]],
    }


def test_what_was_flushed_is_there_without_closing(path):
    writer = RecordingWriter(path, HEADER)
    for item in ITEMS[:3]:
        writer.add(item)
    writer.flush()

    assert list(read_recording(path).items()) == ITEMS[:3]
    writer.close()


def test_a_header_too_long_for_a_table_is_kept_once(path):
    long = {**HEADER, "rig": "x" * (MIB - 200)}
    write(path, ITEMS, long)

    recording = read_recording(path)
    assert (recording.header, list(recording.items())) == (long, ITEMS)


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
        (MAGIC, "is damaged or cut off, and no block behind it is whole; copy it again from where it was recorded"),
        (MAGIC + struct.pack("<II", 4, 0) + b"abcd", "damaged or cut off, .* or look for the sweep in the store"),
    ],
)
def test_a_file_without_a_readable_header_is_refused_with_the_reason(path, content, reason):
    path.write_bytes(content)

    with pytest.raises(BadRecording, match=reason):
        read_recording(path)


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


DEEP = b'{"a":' * 500 + b"1" + b"}" * 500


@pytest.mark.parametrize(
    ("blocks", "said"),
    [
        ([block(bytes(8 * MIB + 1))], "expected at most 8 MiB unpacked, got more"),
        ([table_block(WIRE, *[bytes(MIB)] * 7) for _ in range(5)], "unpacks to more than 50 times its size"),
        ([table_block(WIRE, *[b""] * 200_000)], "at most 1 MiB of JSON"),
        ([table_block(WIRE, bytes(MIB + 1))], "size: expected a whole number of 0 to 1048576, got 1048577"),
        ([table_block(WIRE, b"x", size=[2])], "size: expected a whole number of 0 to 1, got 2"),
        ([table_block(WIRE, b"x", size=[-1])], "size: expected a whole number of 0 to 1, got -1"),
        ([table_block(WIRE, b"x", size=[0])], "1 bytes belong to no item"),
        ([table_block(WIRE, b"x", of=[0, 0])], "argument 2 is shorter than argument 1"),
        ([table_block(WIRE, b"x", of=[-1])], "of: expected a whole number of 0 to 0, got -1"),
        ([table_block(WIRE, b"x", of=[True])], "of: expected a whole number of 0 to 0, got True"),
        ([table_block(WIRE, b"x", dt_us=[-1])], "dt_us: expected a whole number"),
        ([table_block(WIRE, b"x", dt_us=[2**60])], "dt_us: expected a whole number"),
        ([table_block(WIRE, b"x", dt_us=[0.5])], "dt_us: expected a whole number"),
        ([table_block(["wire", 7], b"x")], r"expected wire, notification or event, got \['wire', 7\]"),
        ([table_block(["event", "mark"], b'{"a":"' + b"x" * 2**18 + b'"}')], "at most 256 KiB of JSON"),
        ([table_block(["event", "mark"], DEEP)], "at most 64 levels"),
        ([table_block(["event", "mark"], b'{"a":1e999}')], "finite numbers"),
    ],
)
def test_what_no_recording_holds_is_refused_before_memory_is_taken_for_it(path, blocks, said):
    hand_made(path, *blocks)

    tracemalloc.start()
    with pytest.raises(BadRecording, match=f"ride.rec.*{said}"):
        list(read_recording(path).items())
    taken = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert taken < 40 * MIB


@pytest.mark.parametrize("header", [b'{"rig":"' + b"x" * MIB + b'"}', b"[" * 5000, b"[1]", b'{"a":NaN}'])
def test_a_header_that_is_none_is_refused(path, header):
    with pytest.raises(BadRecording, match="header"):
        read_recording(hand_made(path, header=header))


def test_a_length_that_goes_far_beyond_the_file_takes_no_memory(path):
    path.write_bytes(MAGIC + block(json.dumps(HEADER).encode()) + struct.pack("<II", 2**32 - 1, 0) + b"x")

    tracemalloc.start()
    recording = read_recording(path)
    taken = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    (problem,) = recording.problems
    assert problem.startswith("nothing that was received can be read: only its header is whole; after it, 9 bytes")
    assert taken < 16 * MIB


def test_a_block_longer_than_any_of_ours_is_not_taken_into_memory(path):
    path.write_bytes(MAGIC + block(json.dumps(HEADER).encode()) + struct.pack("<II", 100 * MIB, 0))
    os.truncate(path, 200 * MIB)

    tracemalloc.start()
    recording = read_recording(path)
    taken = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert not recording.complete
    assert taken < 16 * MIB


@pytest.mark.parametrize("events", ["[1]", '[["soon", "mark", {}]]', '[[1, "mark", 7]]', "7"])
def test_events_in_the_last_block_that_are_none_are_refused(path, events):
    with pytest.raises(BadRecording, match="the events in its last block"):
        read_recording(hand_made(path, end=f'{{"end": true, "events": {events}}}'.encode()))


def test_the_last_block_repeats_only_as_many_events_as_a_reader_takes(path, monkeypatch):
    monkeypatch.setattr(recordings, "MOST_EVENTS", 300)
    marks = [Event(1000 * i, "mark", {"text": "x" * 90}) for i in range(10)]
    write(path, marks)

    *_, end = blocks_of(path.read_bytes())
    assert len(json.loads(end)["events"]) == 2
    assert list(read_recording(path).items()) == marks


def test_a_pipe_is_no_recording_and_is_not_waited_for(path):
    os.mkfifo(path)

    with pytest.raises(BadRecording, match=r"ride\.rec: expected a plain file, got a pipe"):
        read_recording(path)


def test_what_comes_all_at_once_is_written_in_blocks_that_can_be_read(path):
    many = [WireBytes(20 * i, "jig", b"") for i in range(10 * FULL_BLOCK[0])]
    large = [WireBytes(5 * 10**6 + i, "jig", bytes([i]) * 2**20) for i in range(12)]
    rng = np.random.default_rng(1)
    noisy = [WireBytes(6 * 10**6 + i, "jig", rng.bytes(2**20)) for i in range(2)]  # the file accounts for the zeros
    write(path, [*many, *large, *noisy])

    assert list(read_recording(path).items()) == [*many, *large, *noisy]


@pytest.mark.parametrize("umask", [0, 0o777])
def test_a_recording_is_its_owners_alone_whatever_the_umask(path, umask):
    before = os.umask(umask)
    try:
        write(path, ITEMS)
    finally:
        os.umask(before)

    assert path.stat().st_mode & 0o777 == 0o600
