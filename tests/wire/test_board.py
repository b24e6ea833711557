"""What the decoder of a board makes of a stream: order, gaps, restarts, versions."""

from dataclasses import replace

import numpy as np
import pytest

from daq.values import Samples, cut
from daq.wire import board, frames
from tests.wire import by_hand
from tests.wire.examples import HELLO, rows, same, scans, some_scans


def test_scans_that_follow_one_another_come_as_one_value():
    sent = some_scans(500, 2, np.random.default_rng(1))

    (got,) = board.BoardDecoder("jig").feed(board.encode_scans(sent), 0)

    assert same(got, sent)


def test_what_a_board_says_comes_in_the_order_it_was_said():
    before, after = scans([[1, 2], [3, 4]]), scans([[5, 6]], first=2)
    reply = board.Reply(1, board.CommandOp.SET_GAIN, board.CommandResult.DONE)
    stream = board.encode_scans(before) + board.encode_reply(reply) + board.encode_hello(HELLO)

    got = board.BoardDecoder("jig").feed(stream + board.encode_scans(after), 0)

    assert [type(item) for item in got] == [Samples, board.Reply, board.HelloBody, Samples]
    assert rows(got) == rows([before, after])


@pytest.mark.parametrize("bits", [24, 32])
def test_wherever_the_stream_is_cut_the_same_scans_come_out(bits):
    sent = some_scans(6, 2, np.random.default_rng(2))
    stream = board.encode_hello(HELLO) + board.encode_scans(sent, bits=bits)

    for at in range(len(stream) + 1):
        decoder = board.BoardDecoder("jig")
        got = decoder.feed(stream[:at], 0) + decoder.feed(stream[at:], 0)
        assert rows(got) == rows([sent])
        assert HELLO in got
        assert (decoder.scans, decoder.damaged, decoder.dropped) == (6, 0, 0)


def test_a_scan_carries_the_time_its_last_byte_came():
    stream = board.encode_scans(scans([[1], [2]]))
    decoder = board.BoardDecoder("jig")

    got = decoder.feed(stream[:-1], 1000) + decoder.feed(stream[-1:], 2000)

    assert [item.received_us.tolist() for item in got] == [[1000], [2000]]


@pytest.mark.parametrize("first", [0, 65_500])
def test_missing_numbers_are_counted_as_dropped(first):
    sent = some_scans(100, 1, np.random.default_rng(3), first=first)
    keep = np.r_[0:10, 13:60, 61:100]
    stream = board.encode_scans(cut(sent, keep))
    decoder = board.BoardDecoder("jig")

    for at in range(0, len(stream), 37):
        decoder.feed(stream[at : at + 37], 0)

    assert decoder.dropped == 4
    assert decoder.scans == 96


def test_a_loss_longer_than_the_numbers_is_counted_by_the_boards_clock():
    decoder = board.BoardDecoder("jig")
    decoder.feed(board.encode_hello(replace(HELLO, channels=HELLO.channels[:1])), 0)
    decoder.feed(board.encode_scan(0, 0, 0, [1]), 0)

    decoder.feed(board.encode_scan(150_000_000, 150_000, 0, [1]), 0)  # 150 s at 1 kHz

    assert decoder.dropped == 149_999


def test_a_board_that_restarts_has_dropped_nothing():
    first = board.encode_scans(scans([[1], [2]], first=40_000, ticks_us=[40_000_000, 40_001_000]))
    again = board.encode_scans(scans([[3]], ticks_us=[0]))
    said = replace(HELLO, channels=HELLO.channels[:1])
    unsaid, announced = board.BoardDecoder("jig"), board.BoardDecoder("jig")

    unsaid.feed(first + again, 0)
    hellos = board.encode_hello(said), board.encode_hello(replace(said, boot=8))
    announced.feed(hellos[0] + first + hellos[1] + again, 0)

    assert (unsaid.scans, unsaid.dropped) == (3, 0)
    assert (announced.scans, announced.dropped) == (3, 0)


@pytest.mark.parametrize(("found", "remedy"), [(2, "update the program"), (0, "update the firmware of the board")])
def test_another_version_is_named_and_nothing_of_it_is_taken(found, remedy):
    decoder = board.BoardDecoder("jig")
    other = by_hand.frame(bytes([1, found]) + b"whatever that version says")

    got = decoder.feed(other + board.encode_scans(scans([[1], [2]])), 0)

    assert got == [board.WrongVersion(found)]
    assert str(got[0]) == f"the board speaks wire protocol {found}, this program speaks 1: {remedy}"
    assert decoder.feed(board.encode_hello(HELLO) + board.encode_scans(scans([[1, 2]])), 0)[0] == HELLO


def test_scans_that_do_not_fit_the_hello_are_refused_with_both_numbers():
    decoder = board.BoardDecoder("jig")

    got = decoder.feed(board.encode_hello(HELLO) + board.encode_scans(scans([[1, 2, 3]])), 0)

    assert got == [HELLO]
    assert decoder.malformed == 1
    assert decoder.problem == "scan of 3 channels after a hello that names 2"
    decoder.feed(board.encode_scans(scans([[1, 2]])), 0)
    assert decoder.problem == ""


def test_a_scan_of_a_length_no_number_of_channels_has_is_refused():
    decoder = board.BoardDecoder("jig")

    assert decoder.feed(frames.frame(bytes([2]) + bytes(9)), 0) == []
    assert decoder.problem == "scan of type 0x02 has 10 bytes: expected 8 + 4 k, k 1 to 32"


def test_frames_of_a_type_not_known_are_passed_over_and_counted():
    decoder = board.BoardDecoder("jig")

    got = decoder.feed(frames.frame(b"\xe0 of the maker's own") + board.encode_scan(0, 0, 0, [1]), 0)

    assert len(got) == 1
    assert (decoder.unknown, decoder.malformed, decoder.damaged) == (1, 0, 0)


def test_scans_before_the_first_hello_are_taken():
    assert len(board.BoardDecoder("jig").feed(board.encode_scan(0, 0, 0, [1, 2, 3]), 0)) == 1
