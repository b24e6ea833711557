import hashlib
import json
import os
import re
import struct
import subprocess
import tracemalloc
import zlib

import numpy as np
import pyarrow
import pytest
import zstandard
from hypothesis import given
from hypothesis import strategies as st

from daq.items import LOST, Event, Notification, WireBytes
from daq.keep import recording as recordings
from daq.keep.bounded import MIB
from daq.keep.recording import FULL_BLOCK, MAGIC, BadRecording, RecordingWriter, read_recording
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
    assert json.loads(end) == {
        "end": True,
        "items": 5,
        "sha256": hashlib.sha256(payloads).hexdigest(),
        "header": HEADER,
        "events": [[2_000_000, "saddle_moved", {"setback_mm": 95.5}]],
    }


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


@pytest.mark.parametrize("harm", [lambda it: [*it[:20], it[20] ^ 1], lambda it: bytes(len(it))], ids=["bit", "zeros"])
def test_a_damaged_block_costs_that_block_alone_and_is_named(path, harm):
    items = [WireBytes(1_000_000 * i, "jig", b"%d" % i) for i in range(18)]
    write(path, items)
    content = bytearray(path.read_bytes())
    at = len(MAGIC)
    at += 8 + struct.unpack_from("<I", content, at)[0]
    content[at : at + 21] = harm(content[at : at + 21])
    path.write_bytes(content)

    recording = read_recording(path)
    gap, *others = recording.items()
    assert others == items[6:]
    assert (gap.kind, gap.received_us, gap.content["to_us"]) == (LOST, 0, 6_000_000)
    assert gap.content["said"] == "all that was received from 0.000 to 6.000 s"
    assert not recording.complete
    assert recording.problems == (f"block 2 at byte {at} is damaged and left out",)


def places_of_blocks(content):
    """Where each block begins, by the layout in the module's docstring."""
    at = len(MAGIC)
    while at < len(content):
        yield at
        at += 8 + struct.unpack_from("<I", content, at)[0]


@pytest.mark.parametrize("bit", [3, 5 * 8, 12 * 8 + 2])  # of the length, of the CRC, of the packed part
def test_a_flipped_bit_in_any_block_costs_its_raw_alone_events_and_header_come_back(path, bit):
    """Bits 0-31 of a block are its length, 32-63 its CRC, the packed part follows."""
    items = [WireBytes(1_000_000 * i, "jig", b"%d" % i) for i in range(31)]
    items[8:8] = [Event(7_500_000, "saddle_moved", {"setback_mm": 95.5})]
    write(path, items)
    content = path.read_bytes()
    places = list(places_of_blocks(content))
    assert len(places) == 8  # header, six of raw, end

    for place in places[:-1]:
        harmed = bytearray(content)
        harmed[place + bit // 8] ^= 1 << bit % 8
        path.write_bytes(harmed)
        recording = read_recording(path)
        found = [item for item in recording.items() if not (isinstance(item, Event) and item.kind == LOST)]

        assert recording.header == HEADER
        assert not recording.complete
        (problem,) = recording.problems
        assert f"at byte {place} is damaged" in problem
        assert items[8] in found
        assert [item for item in items if item in found] == found
        assert len(items) - len(found) <= (0 if place == places[0] else 6)


MINUTES = [WireBytes(1_000_000 * i, "jig", b"%d" % i) for i in range(150)]


def harmed(path, at, bit=0x10, length=None):
    """The file with one bit flipped, cut off to a length."""
    content = bytearray(path.read_bytes())
    content[at] ^= bit
    path.write_bytes(content[:length])


@pytest.mark.parametrize("at", range(8 * len(MAGIC)))
def test_a_flipped_bit_in_the_first_line_costs_nothing(path, at):
    write(path, ITEMS)
    harmed(path, at // 8, 1 << at % 8)

    recording = read_recording(path)
    assert (recording.header, list(recording.items())) == (HEADER, ITEMS)
    assert recording.problems == ("the first line is damaged; nothing else is lost with it",)


def test_a_recording_of_another_version_is_not_taken_for_a_damaged_one(path, monkeypatch):
    monkeypatch.setattr(recordings, "VERSION", 3)
    write(path, ITEMS)
    monkeypatch.undo()
    harmed(path, len(MAGIC) - 2, ord("1") ^ ord("3"))

    with pytest.raises(BadRecording, match="a recording of version 3, and this program reads version 1"):
        read_recording(path)


@pytest.mark.parametrize("end", [100, 2_000, None], ids=["in the first minute", "later", "closed"])
@pytest.mark.parametrize("bit", [3, 5 * 8, 12 * 8 + 2])
def test_a_damaged_header_is_read_from_its_copy_though_the_recording_was_cut_off(path, bit, end):
    write(path, MINUTES)
    places = list(places_of_blocks(path.read_bytes()))
    harmed(path, len(MAGIC) + bit // 8, 1 << bit % 8, None if end is None else places[2] + end)

    recording = read_recording(path)
    found = list(recording.items())
    assert recording.header == HEADER
    assert found == MINUTES[: len(found)]
    assert len(found) >= 6
    assert recording.problems[0] == "the header block at byte 20 is damaged: a copy of it is used"


@pytest.mark.parametrize("blocks", [15, None], ids=["cut off", "closed"])
def test_what_is_lost_together_with_the_header_is_told(path, blocks):
    """Copies are beside the first block of raw, lost here, and beside the thirteenth."""
    write(path, MINUTES)
    content = path.read_bytes()
    places = list(places_of_blocks(content))
    assert len(places) > 20
    end = None if blocks is None else places[blocks]
    path.write_bytes(MAGIC + bytes(places[3] - len(MAGIC)) + content[places[3] : end])

    recording = read_recording(path)
    gap, *others = recording.items()
    assert recording.header == HEADER
    assert (gap.kind, gap.content["said"]) == (LOST, "all that was received from 0.000 to 12.000 s")
    assert others == MINUTES[12 : 12 + len(others)]
    assert "what was received before the next whole block is lost with it" in recording.problems[0]


@pytest.mark.parametrize("cut", [0, 40], ids=["whole", "the first cut off"])
def test_two_recordings_joined_in_one_file_are_told_and_part_again(path, cut):
    write(path, MINUTES)
    first = path.read_bytes()
    first = first[: len(first) - cut]
    second = path.with_name("second.rec")
    write(second, ITEMS)
    path.write_bytes(first + second.read_bytes())

    with pytest.raises(BadRecording, match=f"another recording begins at byte {len(first)}: ") as said:
        read_recording(path)
    head, tail = re.findall(r"(?:head|tail) -c \+?\d+", str(said.value))
    parted = [subprocess.run([*how.split(), path], capture_output=True, check=True).stdout for how in (head, tail)]
    assert parted == [first, second.read_bytes()]


def older(path):
    """A recording of a time when nothing repeated its header, with the header damaged."""
    hand_made(path, table_block(WIRE, b"a", b"b"))
    harmed(path, len(MAGIC) + 12)
    return path


def test_without_any_copy_the_header_can_be_given(path):
    with pytest.raises(BadRecording, match=r"no copy of it is whole: .* foreaft replay --rig RIG\.toml"):
        read_recording(older(path))
    recording = read_recording(path, HEADER)

    assert recording.header is HEADER
    assert [item.payload for item in recording.items()] == [b"a", b"b"]
    assert recording.problems == ("the header block at byte 20 is damaged: one was given",)


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
        (MAGIC, "the header block is damaged or missing, and so is every other"),
        (MAGIC + struct.pack("<II", 4, 0) + b"abcd", "the header block is damaged or missing, and so is every other"),
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
    assert all(item in ITEMS or item.kind == LOST for item in found)


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


def block(content, level=3):
    packed = zstandard.ZstdCompressor(level=level).compress(content)
    return struct.pack("<II", len(packed), zlib.crc32(packed)) + packed


def table_block(kind, *payloads, **changes):
    """A block of items of one kind, a millisecond apart; changes: other columns of its table."""
    count = len(payloads)
    sizes = [len(payload) for payload in payloads]
    table = {"kinds": [kind], "of": [0] * count, "dt_us": [1000] * count, "size": sizes, **changes}
    text = json.dumps(table).encode()
    return block(struct.pack("<I", len(text)) + text + b"".join(payloads))


def hand_made(path, *blocks, header=HEADER, end=b'{"end": true}'):
    content = header if isinstance(header, bytes) else json.dumps(header).encode()
    path.write_bytes(MAGIC + b"".join([block(content), *blocks, block(end)]))
    return path


WIRE = ["wire", "board"]
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
    assert recording.problems == ("it was cut off: the last block is missing",)
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


def test_after_damage_only_so_many_places_are_tried(path, monkeypatch):
    """Each costs as much as a block may be long: a file full of marks would take hours."""
    marks = struct.pack("<II", MIB, 0) + recordings.ZSTD_MARK
    path.write_bytes(MAGIC + block(json.dumps(HEADER).encode()) + b"\xff" * 8 + marks * 10_000)
    tried, crc32 = [], zlib.crc32
    monkeypatch.setattr("daq.keep.recording.zlib.crc32", lambda content: tried.append(len(content)) or crc32(content))

    assert not read_recording(path).complete
    assert len(tried) <= recordings.MOST_LOOKS + 2


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
