"""The C reference encoder of firmware_notes/, compiled here and compared byte for byte with the Python one."""

import re
import shutil
import struct
import subprocess
from dataclasses import replace

import numpy as np
import pytest

from daq.wire import board
from tests.wire import by_hand
from tests.wire.examples import HELLO, scans
from tests.wire.reference import CODE, HERE

STRICT = ["-std=c99", "-O2", "-Wall", "-Wextra", "-Wconversion", "-pedantic", "-Werror"]


def compiled(folder, *sources):
    """These sources with the reference encoder as a program, by this system's compiler, its warnings as errors."""
    compiler = next(filter(None, map(shutil.which, ("cc", "gcc", "clang"))), None)
    if compiler is None:
        pytest.fail("no C compiler here: install one (Debian, Ubuntu: apt install gcc libc6-dev)")
    program, parts = folder / "program", map(str, (CODE / "foreaft_wire.c", *sources))
    built = subprocess.run(
        [compiler, *STRICT, "-I", str(CODE), "-o", str(program), *parts], capture_output=True, text=True, check=False
    )
    assert built.returncode == 0, built.stderr
    return program


@pytest.fixture(scope="module")
def driver(tmp_path_factory):
    """Feeds lines to the compiled encoder; gives its lines."""
    program = compiled(tmp_path_factory.mktemp("reference"), HERE / "reference_driver.c")

    def run(lines):
        done = subprocess.run([str(program)], input="\n".join(lines), capture_output=True, text=True, check=True)
        assert done.stderr == ""
        return done.stdout.splitlines()

    return run


def awkward_counts(rng, n, k, bits):
    """Random counts with many zero bytes, ends of the scale and small numbers among them: what stuffing is about."""
    limit = 1 << (bits - 1)
    anything = rng.integers(-limit, limit, (n, k))
    special = rng.choice([0, 1, -1, 255, 256, 65536, -256, limit - 1, -limit], (n, k))
    return np.where(rng.random((n, k)) < 0.4, special, anything)


def scan_lines(bits, sent):
    return [
        f"scan{bits} {tick} {number} {status} {len(row)} {' '.join(map(str, row))}"
        for tick, number, status, row in zip(
            sent.ticks_us, sent.sequence, sent.status, sent.counts.tolist(), strict=True
        )
    ]


def test_twelve_thousand_random_scans_are_the_same_bytes(driver):
    rng = np.random.default_rng(20)
    lines, expected = [], b""
    for k in (1, 2, 3, 8, 17, 32):
        for bits in (24, 32):
            n = 1000
            counts = awkward_counts(rng, n, k, bits)
            ticks_us, status = rng.integers(0, 2**32, n), rng.integers(0, 256, n)
            sent = scans(counts, first=int(rng.integers(65536)), ticks_us=ticks_us, status=status)
            lines += scan_lines(bits, sent)
            expected += board.encode_scans(sent, bits=bits)

    frames = driver(lines)

    assert len(frames) == 12_000
    assert bytes.fromhex("".join(frames)) == expected


def test_a_run_without_a_zero_as_long_as_a_block_is_stuffed_alike(driver):
    texts = ["x" * n for n in range(246, 256)]

    frames = driver([f"reply 1 2 3 {text}" for text in texts])

    expected = [by_hand.frame(bytes([4, 1, 2, 3]) + text.encode()).hex() for text in texts]
    assert frames == expected


def random_hello(rng, k):
    def any32():
        return int(rng.integers(1 << 32))

    channels = tuple(
        board.Channel(
            name=f"c{i}_" + "x" * int(rng.integers(0, 28)),
            kind=board.ChannelKind(int(rng.integers(4))),
            gain=int(rng.integers(1 << 16)),
            rate_hz=any32() / 1000,
            bits=int(rng.integers(2, 33)),
            units_per_count=float(np.float32(rng.standard_normal())) if rng.random() < 0.7 else None,
        )
        for i in range(k)
    )
    return board.HelloBody(
        board_id=rng.bytes(8).hex(),
        boot=any32(),
        firmware="v" * int(rng.integers(0, 65)),
        scan_rate_hz=any32() / 1000,
        channels=channels,
        ticks_us=any32(),
        running=bool(rng.integers(2)),
    )


def hello_line(hello):
    words = ["hello", *bytes.fromhex(hello.board_id), hello.boot, hello.ticks_us, round(hello.scan_rate_hz * 1000)]
    words += [int(hello.running), hello.firmware or "-", len(hello.channels)]
    for c in hello.channels:
        (float_bits,) = struct.unpack("<I", struct.pack("<f", c.units_per_count or 0.0))
        words += [int(c.kind), c.bits, c.gain, round(c.rate_hz * 1000), float_bits, c.name]
    return " ".join(map(str, words))


def test_random_hellos_are_the_same_bytes(driver):
    rng = np.random.default_rng(21)
    hellos = [replace(HELLO, firmware="bench")]
    hellos += [random_hello(rng, int(rng.integers(1, 33))) for _ in range(300)]

    frames = driver([hello_line(hello) for hello in hellos])

    assert frames == [board.encode_hello(hello).hex() for hello in hellos]


def test_replies_are_the_same_bytes(driver):
    replies = [board.Reply(r, 1 + r % 6, board.CommandResult(r % 5), "gain=3" * (r % 4)) for r in range(256)]

    frames = driver([f"reply {r.request} {r.op} {int(r.result)} {r.text or '-'}" for r in replies])

    assert frames == [board.encode_reply(reply).hex() for reply in replies]


COMMANDS = [
    board.Command(1, board.CommandOp.HELLO),
    board.set_rate(0, 0.0),
    board.set_rate(7, 1000.0),
    board.set_gain(255, channel=0, gain=128),
    board.Command(9, board.CommandOp.TARE_DONE),
]


def test_commands_are_received_whole_and_noise_is_not(driver):
    stream = b"noise" * 20 + b"".join(map(board.encode_command, COMMANDS)) + b"\x02\x55\0"

    (line,) = driver([f"receive {len(stream)} {' '.join(map(str, stream))}"])

    bodies = [bytes.fromhex(body) for body in line.split()[1:]]
    assert board.CommandDecoder().feed(stream) == COMMANDS
    assert [board.CommandDecoder().feed(by_hand.frame(body))[0] for body in bodies] == COMMANDS


def test_no_damaged_command_is_received(driver):
    """Every byte of a command changed to every other value: what is received is what the other decoder receives."""
    whole = board.encode_command(COMMANDS[3])
    streams = []
    for at in range(1, len(whole) - 1):
        for value in range(256):
            streams.append(whole[:at] + bytes([value]) + whole[at + 1 :])

    lines = driver([f"receive {len(stream)} {' '.join(map(str, stream))}" for stream in streams])

    sent = bytes.fromhex(driver([f"receive {len(whole)} {' '.join(map(str, whole))}"])[0].split()[1])
    for stream, line in zip(streams, lines, strict=True):
        assert (line.split()[1:] == [sent.hex()]) == (stream == whole)


@pytest.mark.parametrize(
    "line",
    [
        "cramped 10 0 0 0 2 1 2",
        "scan24 0 0 0 1 8388608",
        "scan24 0 0 0 1 -8388609",
        "scan32 0 0 0 0",
        "scan32 0 0 0 33 " + " ".join(["1"] * 33),
    ],
)
def test_what_does_not_fit_is_not_written(driver, line):
    assert driver([line]) == [""]


def test_the_board_outlined_in_the_notes_is_understood_and_obeys(tmp_path):
    (outline,) = re.findall(r"^```c\n(.*?)^```", (CODE / "README.md").read_text(), re.M | re.S)
    (tmp_path / "outline.c").write_text(outline)
    program = compiled(tmp_path, tmp_path / "outline.c", HERE / "outline_board.c")
    commands = [
        board.Command(1, board.CommandOp.HELLO),
        board.set_rate(2, 20.0),
        board.set_gain(3, 1, 64),
        board.set_gain(4, 1, 7),
        board.set_gain(5, 2, 64),
        board.Command(6, board.CommandOp.STOP),
        board.Command(7, board.CommandOp.START),
        board.Command(8, board.CommandOp.TARE_DONE),
    ]
    heard = b"noise" + b"".join(map(board.encode_command, commands))

    sent = subprocess.run([str(program)], input=heard, capture_output=True, check=True).stdout

    decoder = board.BoardDecoder("board")
    said = decoder.feed(sent, 0)
    replies = [(item.request, int(item.result)) for item in said if isinstance(item, board.Reply)]
    hellos = [item for item in said if isinstance(item, board.HelloBody)]
    assert sent[0] == 0
    assert said[0] == hellos[0]
    assert replies == [(1, 0), (2, 0), (3, 0), (4, 2), (5, 2), (6, 0), (7, 0), (8, 0)]
    assert (hellos[0].scan_rate_hz, hellos[0].boot, hellos[-1].scan_rate_hz) == (80.0, 7, 10.0)
    assert [channel.gain for channel in hellos[-1].channels] == [128, 64]
    assert [hello.running for hello in hellos[-2:]] == [False, True]
    assert (decoder.scans, decoder.dropped, decoder.damaged, decoder.malformed) == (5, 0, 0, 0)
