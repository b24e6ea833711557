"""The board's hello, both ways; expected bytes written out from firmware_notes/wire_protocol.md."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.wire import board
from daq.wire.hello import decode_hello
from tests.wire import by_hand
from tests.wire.examples import HELLO

BODY = bytes.fromhex(
    "01 01 01 02 40e20100 40420f00 07000000 00112233aabbccdd"
    "09 62656e636820312e30"  # bench 1.0
    "01 18 8000 40420f00 00000035 08 6261725f6c656674"  # bar_left, 2^-21 mV/V per count
    "02 10 0100 a0860100 00000000 04 74696c74"  # tilt, unit not known
)


def test_a_hello_is_written_and_read_as_the_notes_say():
    assert board.encode_hello(HELLO) == by_hand.frame(BODY)
    assert board.BoardDecoder("jig").feed(by_hand.frame(BODY), 0) == [HELLO]


names = st.from_regex(r"[a-z][a-z0-9_]{0,31}", fullmatch=True)
channels = st.builds(
    board.Channel,
    name=names,
    kind=st.sampled_from(board.ChannelKind),
    gain=st.integers(0, 65535),
    rate_hz=st.integers(0, 2**32 - 1).map(lambda rate: rate / 1000),
    bits=st.integers(2, 32),
    units_per_count=st.none() | st.floats(width=32, allow_nan=False, allow_infinity=False).filter(bool),
)
hellos = st.builds(
    board.HelloBody,
    board_id=st.binary(min_size=8, max_size=8).map(bytes.hex),
    boot=st.integers(0, 2**32 - 1),
    firmware=st.text(st.characters(exclude_categories=["Cs"]), max_size=16),
    scan_rate_hz=st.integers(0, 2**32 - 1).map(lambda rate: rate / 1000),
    channels=st.lists(channels, min_size=1, max_size=32, unique_by=lambda c: c.name).map(tuple),
    ticks_us=st.integers(0, 2**32 - 1),
    running=st.booleans(),
)


@given(hellos)
def test_a_hello_comes_back_as_it_was_sent(hello):
    assert board.BoardDecoder("jig").feed(board.encode_hello(hello), 0) == [hello]


def test_the_longest_hello_fits_a_frame():
    many = tuple(replace(HELLO.channels[0], name=f"{i:02d}".rjust(32, "x")) for i in range(32))

    assert board.encode_hello(replace(HELLO, firmware="x" * 64, channels=many))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"channels": ()}, "0 channels: expected 1 to 32"),
        ({"channels": HELLO.channels[:1] * 2}, "'bar_left' appears twice"),
        ({"channels": (replace(HELLO.channels[0], name="Bar Left"),)}, "'Bar Left': expected lower case"),
        ({"channels": (replace(HELLO.channels[0], bits=64),)}, "64 bits: expected 2 to 32"),
        ({"channels": (replace(HELLO.channels[0], units_per_count=np.inf),)}, "bar_left is not a number"),
        ({"firmware": "x" * 65}, "longer than 64 bytes"),
        ({"board_id": "jig"}, "'jig': expected 16 hexadecimal digits"),
    ],
)
def test_a_hello_no_host_could_use_is_refused(change, says):
    with pytest.raises(ValueError, match=says):
        board.encode_hello(replace(HELLO, **change))


@pytest.mark.parametrize("length", range(2, len(BODY)))
def test_a_hello_cut_short_is_refused_with_a_reason(length):
    with pytest.raises(ValueError, match=r"hello has \d+ bytes: expected at least|hello ends inside"):
        decode_hello(BODY[:length])


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (BODY + b"\x01", "1 bytes after its 2 channels"),
        (BODY.replace(b"bench", b"\xff\xfench"), "firmware is not UTF-8"),
        (BODY.replace(b"tilt", b"Tilt"), "'Tilt': expected lower case"),
    ],
)
def test_a_hello_that_makes_no_sense_is_refused_with_a_reason(body, says):
    with pytest.raises(ValueError, match=says):
        decode_hello(body)


def test_a_kind_of_channel_this_version_does_not_have_is_other():
    body = BODY.replace(bytes.fromhex("02100100"), bytes.fromhex("63100100"))

    assert decode_hello(body).channels[1].kind is board.ChannelKind.OTHER
