import re

import numpy as np
import pytest

from daq.sources.sniff import look_at, noise_rms, pattern_of
from daq.values import Status
from daq.wire import board
from daq.wire.ascii_lines import LineDecoder, LineFormat
from tests.sources.fake_board import FakeBoard, hello


def stream(data, *, step=50, every_us=5_000):
    """Bytes as a port gives them, in pieces."""
    return [(i * every_us, data[at : at + step]) for i, at in enumerate(range(0, len(data), step))]


@pytest.fixture
def fake():
    fake = FakeBoard()
    yield fake
    fake.unplug()


def test_a_board_is_recognised_with_its_channels_rate_and_noise(fake):
    units = 2.0**-21
    said = board.HelloBody(
        "00" * 8, 1, "bench", 100.0, (board.Channel("bar", board.ChannelKind.BRIDGE, 128, 100.0, 24, units),)
    )
    rng = np.random.default_rng(1)
    noise = np.rint(rng.normal(0, 20, 400)).astype(int)
    marked = [Status.CRANK_MARK if i % 67 == 1 else 0 for i in range(400)]
    frames = [board.encode_scan(i * 10_000, i, marked[i], [5000 + int(noise[i])], bits=24) for i in range(400)]
    pieces = [(0, b"\0" + board.encode_hello(said)), *((i * 10_000, frame) for i, frame in enumerate(frames))]

    found = look_at(pieces, baud=921_600)

    assert found.protocol == "board"
    assert "wire protocol 1, firmware 'bench', set to 100 scans/s" in found.words
    assert found.rate_hz == pytest.approx(100.0)
    assert found.crank_marks == 6
    (channel,) = found.channels
    assert (channel.name, channel.unit) == ("bar", "counts")
    # the sample's own standard deviation, by numpy; a straight line takes away two degrees of freedom
    assert channel.noise_rms == pytest.approx(np.std(noise, ddof=1), rel=0.01)
    assert f"noise {channel.noise_rms * units * 1e6:.1f} nV/V" in channel.rest


def test_scans_without_a_hello_are_still_a_board(fake):
    found = look_at(stream(b"\0" + fake.scans(50)), baud=921_600)

    assert found.protocol == "board"
    assert "but no hello" in found.words
    assert [channel.name for channel in found.channels] == ["column 0", "column 1", "column 2"]


def test_a_stopped_board_is_recognised_by_its_hello():
    found = look_at(stream(b"\0" + board.encode_hello(hello(running=False))), baud=921_600)

    assert found.protocol == "board"
    assert "it is stopped" in found.words


def test_a_board_of_another_version_is_named_as_such():
    found = look_at(stream(b"\0" + board.encode_hello(hello(version=9))), baud=921_600)

    assert found.protocol == ""
    assert "wire protocol 9" in found.words


def test_nothing_is_told_as_nothing():
    assert look_at([], baud=9_600).words.startswith("nothing came: is it powered?")


def test_noise_is_told_with_the_baud_and_its_first_bytes():
    found = look_at(stream(bytes(np.random.default_rng(2).integers(1, 256, 500, np.uint8))), baud=9_600)

    assert found.protocol == ""
    assert "500 bytes came at 9600 baud, no text and no frames of ours; they begin" in found.words
    assert not found.legible


@pytest.mark.parametrize(
    ("line", "loads_n"),
    [
        # layouts that weighing indicators send; common practice, no source
        ("ST,GS,+00012.34kg", [12.34 * 9.80665]),
        ("US,GS,-00012.34kg", [-12.34 * 9.80665]),
        ("   12.34 kg", [12.34 * 9.80665]),
        ("N 120.5;431.0 N", [120.5, 431.0]),
        ("12,5 kg", [12.5 * 9.80665]),
    ],
)
def test_lines_get_a_pattern_that_reads_them(line, loads_n):
    pattern = pattern_of(line)
    comma = "," in line and "." not in line

    assert re.fullmatch(pattern, line.strip())
    (scan,) = LineDecoder("t", LineFormat(pattern, decimal_comma=comma)).feed(f"\r\n{line}\r\n".encode(), 1)
    assert (scan.counts[0] / 1000).tolist() == pytest.approx(loads_n, abs=0.001)


def test_steady_and_unsteady_lines_follow_one_pattern():
    assert re.fullmatch(pattern_of("ST,GS,+00012.34kg"), "US,NT,-00000.10kg")


def test_a_transmitters_lines_are_recognised_with_a_pattern_for_the_rig_file():
    lines = "".join(f"ST,GS,+{12 + 0.01 * (i % 3):08.2f}kg\r\n" for i in range(40))

    found = look_at(stream(lines.encode(), step=19, every_us=100_000), baud=9_600)

    assert found.protocol == "lines"
    assert found.pattern == r"[A-Z]+,[A-Z]+,(?P<load>[-+]?[ ]*[\d.,]+)\s*(?P<unit>kg)"
    assert found.rate_hz == pytest.approx(10.0)
    assert found.channels[0].mean == pytest.approx(12.01 * 9.80665, abs=0.05)
    assert found.examples[-1].startswith("ST,GS,+")


@pytest.mark.parametrize(("parity", "ones"), [("even", 0), ("odd", 1)])
def test_text_of_seven_data_bits_is_read_through_its_parity_bit(parity, ones):
    text = "".join(f"ST,GS,+{12 + 0.01 * (i % 3):08.2f}kg\r\n" for i in range(40)).encode()
    # the parity bit makes the number of ones even, or odd
    sent = bytes(byte | 0x80 * (bin(byte).count("1") % 2 != ones) for byte in text)

    found = look_at(stream(sent, step=19, every_us=100_000), baud=9_600)

    assert (found.protocol, found.data_bits, found.parity) == ("lines", 7, parity)
    assert found.channels[0].mean == pytest.approx(12.01 * 9.80665, abs=0.05)


def test_text_without_numbers_is_shown():
    found = look_at(stream(b"login:\r\n" * 20), baud=115_200)

    assert (found.protocol, found.words) == ("", "lines of text without a number in them, such as 'login:'")


def test_drift_is_not_noise():
    ramp = np.linspace(0, 1000, 500)

    assert noise_rms(ramp) == pytest.approx(0.0, abs=1e-6)
    assert np.isnan(noise_rms(ramp[:2]))
