"""A line that takes no more, on the portable core with a board written for it: whole frames or none, scans numbered.

The reference board's own line is never so full; a slower one of somebody's port may be.
"""

import subprocess
from pathlib import Path

import pytest

from daq.sources.reference_bench import FOLDER
from daq.wire import board
from daq.wire.board import CommandOp
from tests.wire.reference import CODE

SOURCES = [*(FOLDER / name for name in ("host.c", "hello.c", "scans.c", "tare.c")), CODE / "foreaft_wire.c"]
FREE = 255


@pytest.fixture(scope="module")
def slow_line(tmp_path_factory):
    made = tmp_path_factory.mktemp("core") / "slow_line"
    command = ["cc", "-std=c99", "-Wall", "-Wextra", "-Werror", "-I", str(FOLDER), "-I", str(CODE), "-o", str(made)]
    subprocess.run([*command, str(Path(__file__).parent / "slow_line.c"), *map(str, SOURCES)], check=True)
    return made


def said(slow_line, *steps):
    """What the board sends in these steps; no byte of it may be a part of a frame."""
    lines = "\n".join(" ".join(map(str, step)) for step in steps)
    sent = subprocess.run([slow_line], input=lines.encode(), capture_output=True, check=True).stdout
    decoder = board.BoardDecoder("board")
    items = decoder.feed(sent, 0)
    assert (decoder.damaged, decoder.malformed) == (0, 0)
    assert sent == b"" or sent[-1] == 0
    return items


def asked(op):
    return board.encode_command(board.Command(7, op)).hex()


def test_a_scan_that_has_no_room_is_left_out_whole_and_keeps_its_number(slow_line):
    (scans,) = said(slow_line, (0, "s"), (FREE, "s"), (10, "s"), (FREE, "s"))

    assert scans.sequence.tolist() == [1, 3]


def test_a_hello_waits_until_all_of_it_has_room(slow_line):
    for room, kinds in ((100, [board.Reply]), (FREE, [board.Reply, board.HelloBody])):
        steps = ((100, "c", asked(CommandOp.HELLO)), (room, "t"))

        assert [type(item) for item in said(slow_line, *steps)] == kinds


def test_a_command_waits_until_its_reply_has_room(slow_line):
    assert said(slow_line, (20, "c", asked(CommandOp.STOP)), (20, "t")) == []

    reply, hello = said(slow_line, (20, "c", asked(CommandOp.STOP)), (FREE, "t"), (FREE, "t"))
    assert (reply.request, reply.op) == (7, CommandOp.STOP)
    assert not hello.running


def test_scans_that_are_stopped_are_neither_sent_nor_numbered(slow_line):
    items = said(
        slow_line,
        (FREE, "s"),
        (FREE, "c", asked(CommandOp.STOP)),
        (FREE, "s"),
        (FREE, "c", asked(CommandOp.START)),
        (FREE, "s"),
    )

    numbers = [number for item in items if hasattr(item, "sequence") for number in item.sequence.tolist()]
    assert numbers == [0, 1]
