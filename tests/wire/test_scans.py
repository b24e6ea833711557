"""Scans as bytes, both ways; expected bytes written out from firmware_notes/wire_protocol.md."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.wire import board
from tests.wire import by_hand
from tests.wire.examples import same, scans

BODIES = [
    (32, (0x12345678, 0x1234, 8, [-1, 65536]), "02 08 3412 78563412 ffffffff 00000100"),
    (24, (0x12345678, 0x1234, 8, [-1, 65536]), "03 08 3412 78563412 ffffff 000001"),
    (24, (0, 0, 1, [-(2**23), 2**23 - 1]), "03 01 0000 00000000 000080 ffff7f"),
    (32, (2**32 - 1, 65535, 0, [-(2**31), 2**31 - 1]), "02 00 ffff ffffffff 00000080 ffffff7f"),
]


@pytest.mark.parametrize(("bits", "scan", "body"), BODIES)
def test_a_scan_is_written_and_read_as_the_notes_say(bits, scan, body):
    frame = by_hand.frame(bytes.fromhex(body))
    ticks_us, sequence, status, counts = scan
    decoder = board.BoardDecoder("jig")

    (got,) = decoder.feed(frame, 5)

    assert board.encode_scan(ticks_us, sequence, status, counts, bits=bits) == frame
    assert same(got, scans([counts], first=sequence, ticks_us=[ticks_us], status=[status], received_us=5))


@given(
    st.integers(1, 32).flatmap(lambda k: st.lists(st.lists(st.integers(-(2**23), 2**23 - 1), min_size=k, max_size=k))),
    st.sampled_from([24, 32]),
    st.integers(0, 65535),
    st.integers(0, 2**32 - 1),
)
def test_scans_come_back_as_they_were_sent(counts, bits, first, ticks_us):
    if not counts:
        return
    sent = scans(counts, first=first, ticks_us=ticks_us + np.arange(len(counts)) * 1000)

    got = board.BoardDecoder("jig").feed(board.encode_scans(sent, bits=bits), 0)

    assert len(got) == 1
    assert same(got[0], sent)


def test_ticks_and_numbers_wrap_when_written():
    assert board.encode_scan(2**32 + 5, 65536 + 7, 0, [1]) == board.encode_scan(5, 7, 0, [1])


@pytest.mark.parametrize(
    ("counts", "bits", "says"),
    [
        ([2**23], 24, "does not fit 24 bits"),
        ([-(2**31) - 1], 32, "does not fit 32 bits"),
        ([1], 16, "24 or 32 bits, not 16"),
        ([], 32, "k 1 to 32"),
        ([0] * 33, 32, "k 1 to 32"),
    ],
)
def test_counts_the_wire_cannot_carry_are_refused(counts, bits, says):
    with pytest.raises(ValueError, match=says):
        board.encode_scan(0, 0, 0, counts, bits=bits)


def test_no_scans_are_no_bytes():
    assert board.encode_scans(scans(np.empty((0, 2))), bits=24) == b""
