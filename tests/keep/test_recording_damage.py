"""A damaged recording: what is whole comes back, and each loss is told."""

import json
import re
import struct
import subprocess
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.items import LOST, Event, WireBytes
from daq.keep import recording as recordings
from daq.keep.bounded import MIB
from daq.keep.recording import read_recording
from daq.keep.recording_blocks import MAGIC, MOST_LOOKS, ZSTD_MARK, BadRecording
from daq.words import counted
from tests.keep.recordings import (
    HEADER,
    ITEMS,
    MINUTES,
    WIRE,
    block,
    hand_made,
    harmed,
    places_of_blocks,
    table_block,
    write,
)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "ride.rec"


def test_cut_off_anywhere_it_reads_up_to_the_last_whole_block(path):
    items = [WireBytes(1_000_000 * i, "jig", b"%d" % i) for i in range(40)]
    write(path, items)
    content = path.read_bytes()
    ends = list(places_of_blocks(content))[1:]

    for length in range(ends[0], len(content)):
        path.write_bytes(content[:length])
        recording = read_recording(path)
        found = list(recording.items())
        assert found == items[: len(found)]
        assert not recording.complete
        (problem,) = recording.problems
        whole = [place for place in ends if place <= length]
        rest = length - whole[-1]
        assert (f"; after it, {counted(rest, 'byte')} without a whole block" in problem) == (rest > 0)
        if found:
            of = counted(len(whole) - 1, "whole block")
            said = f"it was cut off: it ends at {len(found) - 1}.000 s, with the last of {of}"
            assert problem.startswith(said)
            assert problem.endswith("; what was received later is lost, and how much that was is unknown")
        else:
            said = ("nothing that was received can be read", "it was cut off before anything that was received")
            assert problem.startswith(said[length == ends[0]])
            assert "copy it again from where it was recorded, or look for the sweep in the store" in problem


@pytest.mark.parametrize(
    ("harm", "said"),
    [
        (lambda it: [*it[:20], it[20] ^ 1], "the block at byte {at} is damaged and left out"),
        (lambda it: bytes(len(it)), "bytes {at} to {last} are damaged, one block or more, and left out"),
    ],
    ids=["bit", "zeros"],
)
def test_a_damaged_block_costs_that_block_alone_and_is_named(path, harm, said):
    items = [WireBytes(1_000_000 * i, "jig", b"%d" % i) for i in range(18)]
    write(path, items)
    content = bytearray(path.read_bytes())
    at = len(MAGIC)
    at += 8 + struct.unpack_from("<I", content, at)[0]
    last = at + 8 + struct.unpack_from("<I", content, at)[0] - 1
    content[at : at + 21] = harm(content[at : at + 21])
    path.write_bytes(content)

    recording = read_recording(path)
    gap, *others = recording.items()
    assert others == items[6:]
    assert (gap.kind, gap.received_us, gap.content["to_us"]) == (LOST, 0, 6_000_000)
    assert gap.content["said"] == "all that was received from 0.000 to 6.000 s"
    assert not recording.complete
    assert recording.problems == (said.format(at=at, last=last),)


def test_many_blocks_that_are_gone_are_not_called_one(path):
    write(path, MINUTES)
    content = bytearray(path.read_bytes())
    places = list(places_of_blocks(content))
    content[places[3] : places[7]] = bytes(places[7] - places[3])
    content[places[9] + 20] ^= 1
    path.write_bytes(content)

    assert read_recording(path).problems == (
        f"bytes {places[3]} to {places[7] - 1} are damaged, one block or more, and left out",
        f"the block at byte {places[9]} is damaged and left out",
    )


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
        assert f"at byte {place} is damaged" in problem or f"bytes {place} to" in problem
        assert items[8] in found
        assert [item for item in items if item in found] == found
        assert len(items) - len(found) <= (0 if place == places[0] else 6)


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


def test_after_damage_only_so_many_places_are_tried(path, monkeypatch):
    """Each costs as much as a block may be long: a file full of marks would take hours."""
    marks = struct.pack("<II", MIB, 0) + ZSTD_MARK
    path.write_bytes(MAGIC + block(json.dumps(HEADER).encode()) + b"\xff" * 8 + marks * 10_000)
    tried, crc32 = [], zlib.crc32
    monkeypatch.setattr(
        "daq.keep.recording_blocks.zlib.crc32", lambda content: tried.append(len(content)) or crc32(content)
    )

    assert not read_recording(path).complete
    assert len(tried) <= MOST_LOOKS + 2
