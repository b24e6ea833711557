"""A noisy line: no wrong scan is ever taken, and a damaged frame costs itself only.

CRC-16/IBM-SDLC finds every error of at most 16 bits in a row, but where damage moves the frame's stuffing anything can
come out, and 1 in 65536 such frames passes a 16-bit CRC. The exhaustive cases below are those of one byte; the drawn
ones are the same each run.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.wire import board
from tests.wire.examples import HELLO, rows, scans, some_scans

START = board.encode_hello(HELLO)


def frames_of(sent, bits=24):
    return [piece + b"\0" for piece in board.encode_scans(sent, bits=bits).split(b"\0")[:-1]]


def heard(stream):
    decoder = board.BoardDecoder("jig")
    items = decoder.feed(START, 0) + decoder.feed(stream, 0)
    return decoder, rows(items)


@pytest.mark.parametrize("counts", [[[0, 0], [1, -1], [256, 65536]], [[8_388_607, -8_388_608], [257, 65_793], [-2, 3]]])
def test_any_one_byte_changed_to_any_other_costs_at_most_the_frames_it_touches(counts):
    sent = scans(counts, first=513, ticks_us=[0x01020304, 0x01020700, 0x01020B00])
    pieces = frames_of(sent)
    whole, truth = b"".join(pieces), rows([sent])
    ends = np.cumsum([len(piece) for piece in pieces])

    for at in range(len(whole)):
        hit = int(np.searchsorted(ends, at, side="right"))
        lost = {hit, hit + 1} if at + 1 == ends[hit] else {hit}
        untouched = [row for i, row in enumerate(truth) if i not in lost]
        for change in range(1, 256):
            damaged = bytearray(whole)
            damaged[at] ^= change
            decoder, got = heard(bytes(damaged))
            assert [row for row in got if row not in truth] == []
            assert [row for row in got if row in untouched] == untouched
            assert decoder.damaged >= 1 or at + 1 == len(whole)


places = st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(0, 255)), min_size=1, max_size=8)


@given(places, st.sampled_from([24, 32]), st.integers(0, 2**32 - 1))
def test_bytes_changed_anywhere_bring_no_wrong_scan(changes, bits, seed):
    sent = some_scans(20, 2, np.random.default_rng(seed))
    pieces = frames_of(sent, bits)
    stream = bytearray(b"".join(pieces))
    ends = np.cumsum([len(piece) for piece in pieces])
    touched = set()
    for where, value in changes:
        at = int(where * len(stream))
        stream[at] = value
        hit = int(np.searchsorted(ends, at, side="right"))
        touched |= {hit, hit + 1} if at + 1 == ends[hit] else {hit}

    _, got = heard(bytes(stream))

    truth = rows([sent])
    assert set(got) <= set(truth)
    assert {row for i, row in enumerate(truth) if i not in touched} <= set(got)


@given(st.floats(0, 1, exclude_max=True), st.binary(min_size=1, max_size=300), st.integers(0, 2**32 - 1))
def test_bytes_put_in_anywhere_cost_at_most_one_frame(where, noise, seed):
    sent = some_scans(10, 2, np.random.default_rng(seed))
    stream = b"".join(frames_of(sent))
    at = int(where * len(stream))

    _, got = heard(stream[:at] + noise + stream[at:])

    truth = rows([sent])
    assert set(got) <= set(truth)
    assert len(got) >= len(truth) - 1


@given(st.floats(0, 1, exclude_max=True), st.integers(1, 100), st.integers(0, 2**32 - 1))
def test_bytes_lost_anywhere_cost_at_most_the_frames_they_lay_in_and_are_counted(where, length, seed):
    sent = some_scans(20, 2, np.random.default_rng(seed))
    pieces = frames_of(sent)
    stream = b"".join(pieces)
    at = int(where * len(stream))
    frames_hit = -(-length // min(map(len, pieces))) + 2

    decoder, got = heard(stream[:at] + stream[at + length :])

    truth = rows([sent])
    assert set(got) <= set(truth)
    assert len(got) >= len(truth) - frames_hit
    if got and got[-1] == truth[-1]:
        assert decoder.dropped == len(truth) - len(got) - truth.index(got[0])


@given(st.binary(max_size=2000))
def test_noise_alone_brings_no_scan(noise):
    _, got = heard(noise)

    assert got == []


def test_half_the_frames_damaged_leaves_the_other_half():
    pieces = frames_of(some_scans(1000, 2, np.random.default_rng(5)))
    stream = b"".join(
        bytes([piece[0], piece[1] ^ 0x55 or 1]) + piece[2:] if i % 2 else piece for i, piece in enumerate(pieces)
    )

    decoder, got = heard(stream)

    assert len(got) == 500
    assert decoder.damaged == 500
    assert decoder.dropped == 499
