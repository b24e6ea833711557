"""Frames: COBS and CRC. Worked values: Cheshire and Baker 1999; the catalogue entry of CRC-16/IBM-SDLC; RFC 1662."""

import runpy
import sys
import time
from types import SimpleNamespace

import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st

from daq.wire import frames
from tests.wire import by_hand


def test_the_check_value_is_that_of_the_published_variant():
    assert by_hand.fcs16(b"123456789") == 0x906E  # CRC RevEng catalogue, CRC-16/IBM-SDLC
    assert frames.frame(b"123456789") == b"\x0c123456789\x6e\x90\x00"


@pytest.mark.parametrize(
    ("plain", "stuffed"),
    [
        # Wikipedia, "Consistent Overhead Byte Stuffing", encoding examples.
        ("00", "0101"),
        ("0000", "010101"),
        ("001100", "01021101"),
        ("11220033", "0311220233"),
        ("11223344", "0511223344"),
        ("11000000", "0211010101"),
    ],
)
def test_the_plain_stuffing_of_these_tests_agrees_with_worked_examples(plain, stuffed):
    assert by_hand.stuffed(bytes.fromhex(plain)) == bytes.fromhex(stuffed)


@pytest.fixture(params=["compiled", "plain"])
def stuffing(request, monkeypatch):
    """daq.wire.frames with the compiled library of COBS, and as it is where that one is missing."""
    if request.param == "plain":
        monkeypatch.setitem(sys.modules, "corncobs", None)
    return SimpleNamespace(**runpy.run_path(frames.__file__))


def test_with_and_without_the_compiled_library_frames_are_the_same(stuffing):
    bodies = [bytes(3), b"123456789", bytes(range(256)) * 4, b"\x55" * 253, b"\x55" * 254]
    deframer = stuffing.Deframer()

    got = deframer.feed(b"".join([by_hand.frame(body) for body in bodies] + [b"\x09ab\0", by_hand.frame(b"last")]))

    assert [stuffing.frame(body) for body in bodies] == [by_hand.frame(body) for body in bodies]
    assert got == [*bodies, b"last"]
    assert deframer.damaged == 1


@given(st.binary(max_size=600) | st.lists(st.sampled_from([0, 1, 2, 3, 254, 255]), max_size=9).map(bytes))
def test_any_bytes_are_decoded_or_refused_as_the_library_in_plain_python_does(noise):
    def said(library):
        try:
            return library.decode(noise)
        except library.DecodeError:
            return None

    assert said(frames.cobs) == said(cobs)


@given(st.binary(min_size=1, max_size=frames.MAX_BODY))
def test_a_frame_is_what_a_plain_implementation_writes(body):
    assert frames.frame(body) == by_hand.frame(body)


@given(st.lists(st.binary(min_size=1, max_size=600), max_size=6), st.lists(st.integers(1, 50), min_size=1, max_size=9))
def test_bodies_come_back_wherever_the_stream_is_cut(bodies, lengths):
    stream = b"".join(frames.frame(body) for body in bodies)
    deframer, got, at = frames.Deframer(), [], 0

    while at < len(stream):
        step = lengths[at % len(lengths)]
        got += deframer.feed(stream[at : at + step])
        at += step

    assert got == bodies
    assert deframer.damaged == 0


def test_the_rest_of_a_frame_that_began_before_is_not_counted():
    deframer = frames.Deframer()

    got = deframer.feed(frames.frame(b"first")[2:] + frames.frame(b"second"))

    assert got == [b"second"]
    assert deframer.damaged == 0


@pytest.mark.parametrize("piece", [1, 700, 10_000])
def test_a_run_without_an_end_costs_one_frame_and_bounded_memory(piece):
    deframer = frames.Deframer()
    stream = b"\0" + b"\x55" * 10_000 + b"\0" + frames.frame(b"good")

    got, longest = [], 0
    for at in range(0, len(stream), piece):
        got += deframer.feed(stream[at : at + piece])
        longest = max(longest, len(deframer.pending))

    assert got == [b"good"]
    assert deframer.damaged == 1
    assert longest <= frames.MAX_ENCODED


@pytest.mark.parametrize("body", [b"", bytes(frames.MAX_BODY + 1)])
def test_a_body_that_no_frame_carries_is_refused(body):
    with pytest.raises(ValueError, match=r"carries 1 to 2048 bytes"):
        frames.frame(body)


def test_the_longest_body_travels():
    body = bytes(range(1, 256)) * 8 + b"\x09" * 8

    assert len(body) == frames.MAX_BODY
    assert frames.Deframer().feed(frames.frame(body)) == [body]


@pytest.mark.parametrize("rest", [b"", b"\x01"])
def test_an_empty_rest_after_a_full_block_may_be_written_or_not(rest):
    body = next(
        b for b in (bytes([n]) + b"x" * 251 for n in range(1, 256)) if 0 not in by_hand.fcs16(b).to_bytes(2, "little")
    )
    whole = body + by_hand.fcs16(body).to_bytes(2, "little")

    assert len(whole) == 254
    assert frames.Deframer().feed(b"\xff" + whole + rest + b"\0") == [body]


def test_an_idle_line_of_zeros_is_passed_over_at_once():
    deframer = frames.Deframer()

    started = time.process_time()
    found = deframer.feed(bytes(2**25) + frames.frame(b"after") + bytes(3) + frames.frame(b"that"))

    assert found == [b"after", b"that"]
    assert deframer.damaged == 0
    assert time.process_time() - started < 2.0  # a piece for each zero takes ten
