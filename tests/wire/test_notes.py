"""What firmware_notes/ says is true: its byte examples and computed tables, read from the pages themselves."""

import csv
import json
import math
import pathlib
import re

import numpy as np
import pytest

from daq.wire import board, frames
from tests.wire import by_hand
from tests.wire.notes import table

ROOT = pathlib.Path(__file__).parent.parent.parent
NOTES = ROOT / "firmware_notes"
PROTOCOL = (NOTES / "wire_protocol.md").read_text()
CONVERTERS = (NOTES / "converters.md").read_text()
G = 9.80665


def examples():
    """Each example block as a dictionary of its lines."""
    blocks = re.findall(r"^```example\n(.*?)^```", PROTOCOL, re.M | re.S)
    return [dict(re.split(r" +", line, maxsplit=1) for line in block.splitlines()) for block in blocks]


def say(frame):
    """What the program reads in one frame, in the words of the notes."""
    if frame_type(frame) == 0x10:
        (command,) = board.CommandDecoder().feed(frame)
        return {"type": 16, "request": command.request, "op": command.op, "operands": list(command.operands)}
    (item,) = board.BoardDecoder("jig").feed(frame, 0)
    if isinstance(item, board.HelloBody):
        said = {name: getattr(item, name) for name in item.__slots__ if name != "channels"}
        columns = ("name", "kind", "gain", "rate_hz", "bits", "units_per_count")
        channels = [[getattr(channel, name) for name in columns] for channel in item.channels]
        return {"type": 1, **said, "channels": channels}
    if isinstance(item, board.Reply):
        return {"type": 4, "request": item.request, "op": item.op, "result": item.result, "text": item.text}
    return {
        "type": frame_type(frame),
        "ticks_us": int(item.ticks_us[0]),
        "sequence": int(item.sequence[0]),
        "status": int(item.status[0]),
        "counts": item.counts[0].tolist(),
    }


def frame_type(frame):
    return frames.Deframer().feed(frame)[0][0]


def write(says):
    """The frame the program writes for what the notes say."""
    kind = says["type"]
    if kind == 1:
        fields = {name: value for name, value in says.items() if name not in ("type", "channels")}
        channels = [board.Channel(c[0], board.ChannelKind(c[1]), *c[2:]) for c in says["channels"]]
        return board.encode_hello(board.HelloBody(**fields, channels=tuple(channels)))
    if kind == 4:
        return board.encode_reply(
            board.Reply(says["request"], says["op"], board.CommandResult(says["result"]), says["text"])
        )
    if kind == 16:
        return board.encode_command(
            board.Command(says["request"], board.CommandOp(says["op"]), tuple(says["operands"]))
        )[1:]
    bits = {2: 32, 3: 24}[kind]
    return board.encode_scan(says["ticks_us"], says["sequence"], says["status"], says["counts"], bits=bits)


def test_there_is_an_example_of_every_type():
    assert {json.loads(example["says"])["type"] for example in examples()} == {1, 2, 3, 4, 16}


@pytest.mark.parametrize("example", examples(), ids=lambda example: example["name"])
def test_an_example_is_right_byte_by_byte(example):
    body, frame = bytes.fromhex(example["body"]), bytes.fromhex(example["frame"])

    assert by_hand.fcs16(body) == int(example["crc"], 16)
    assert by_hand.frame(body) == frame


@pytest.mark.parametrize("example", examples(), ids=lambda example: example["name"])
def test_an_example_says_what_the_program_reads_and_writes(example):
    frame, says = bytes.fromhex(example["frame"]), json.loads(example["says"])

    assert say(frame) == says
    assert write(says) == frame


def test_the_worked_stuffing_is_right():
    for plain, stuffed in re.findall(r"`([0-9 ]+)` becomes `([0-9 ]+)`", " ".join(PROTOCOL.split())):
        assert by_hand.stuffed(bytes.fromhex(plain)) == bytes.fromhex(stuffed)


@pytest.mark.parametrize("row", table(PROTOCOL, "channels"), ids=lambda row: " ".join(row[:2]))
def test_the_frames_a_line_carries_are_counted_right(row):
    k, bits, size, slow, fast = int(row[0]), int(row[1].split()[0]), *map(int, row[2:])

    assert len(board.encode_scan(1, 1, 1, [1] * k, bits=bits)) == size
    assert slow == 115_200 // 10 // size
    assert fast == 921_600 // 10 // size


def test_types_ops_and_results_are_those_of_the_program():
    ops = {int(row[0]): row[1] for row in table(PROTOCOL, "op")}

    assert ops == {int(op): op.name for op in board.CommandOp}
    assert [int(row[0]) for row in table(PROTOCOL, "result")] == [int(result) for result in board.CommandResult]
    assert [row[0] for row in table(PROTOCOL, "type")][:5] == ["01", "02", "03", "04", "10"]


def published_counts():
    rows = csv.DictReader((ROOT / "tests/published/converters/adc_counts.csv").read_text().splitlines())
    return {(float(row["sens_mV_per_V"]), int(row["capacity_kg"])): row for row in rows}


@pytest.mark.parametrize("row", table(CONVERTERS, "cell, mV/V"), ids=lambda row: " ".join(row[:2]))
def test_counts_and_newtons_are_those_published(row):
    sensitivity, capacity = float(row[0]), int(row[1])
    published = published_counts()[sensitivity, capacity]

    assert float(row[2]) == float(published["counts_at_capacity"])
    assert float(row[3]) == pytest.approx(float(published["counts_per_N"]), abs=0.06)
    assert row[4] == published["N_per_count"]


def test_the_units_per_count_of_the_notes_give_the_published_newtons():
    """The formula of converters.md, from the hello's own number: 2^-21 mV/V per count."""
    for (sensitivity, capacity), row in published_counts().items():
        n_per_count = 2**-21 * capacity * G / sensitivity
        assert 1.0 / n_per_count == pytest.approx(float(row["counts_per_N"]), abs=6e-5)  # printed to 1e-4


@pytest.mark.parametrize("row", table(CONVERTERS, "noise at the input"), ids=lambda row: row[0])
def test_noise_in_newtons_follows_from_noise_in_volts(row):
    counts = float(row[0].split()[0]) * 1e-9 / (20e-3 / 2**23)

    assert float(row[1]) == round(counts)
    assert float(row[2]) == pytest.approx(counts * float(published_counts()[1.0, 50]["N_per_count"]), abs=6e-5)
    assert float(row[3]) == pytest.approx(counts * float(published_counts()[2.0, 200]["N_per_count"]), abs=6e-5)


@pytest.mark.parametrize("row", table(CONVERTERS, "scans a second"), ids=lambda row: row[0])
def test_the_error_of_a_stroke_cut_at_scans_is_computed_right(row):
    rate, stroke_s = float(row[0]), 60.0 / 90.0

    def worst(strokes):
        at_s = [np.arange(late, strokes * stroke_s, 1.0 / rate) for late in np.linspace(0.0, 1.0 / rate, 21)]
        phases = np.linspace(0.0, 2.0 * math.pi, 37)
        return max(abs(np.mean(30.0 * np.sin(4.0 * math.pi * t / stroke_s + p))) for t in at_s for p in phases)

    assert float(row[1]) == pytest.approx(rate * stroke_s, abs=0.5)
    assert float(row[2].split()[0]) == pytest.approx(90.0 * 6.0 / rate, abs=0.06)
    assert float(row[3].split()[0]) == pytest.approx(worst(1), rel=0.02, abs=0.006)
    assert float(row[4].split()[0]) == pytest.approx(worst(10), rel=0.02, abs=0.006)


def test_the_pattern_given_for_text_lines_reads_its_line():
    from daq.wire.ascii_lines import LineDecoder, LineFormat

    page = (NOTES / "transmitters.md").read_text()
    line, pattern = re.search(r"Example: `(.*?)` is read by `(.*?)`", page, re.S).groups()

    (got,) = LineDecoder("scale", LineFormat(pattern=pattern)).feed(line.encode() + b"\r\n", 0)

    assert got.counts.tolist() == [[round(12.34 * G * 1000)]]


def test_every_page_the_index_names_is_there_and_no_other():
    named = set(re.findall(r"\]\(([a-z_]+\.md)\)", (NOTES / "README.md").read_text()))

    assert named == {path.name for path in NOTES.glob("*.md")} - {"README.md"}
