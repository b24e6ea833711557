"""What is asked of a board, and what its silence means. Times are given, so nothing waits."""

from dataclasses import replace

import pytest

from daq.sources.board_talk import BoardTalk
from daq.wire import board
from tests.sources.fake_board import hello


def asked(talk, now_s):
    """The commands due, decoded by the board's side of the line."""
    return board.CommandDecoder().feed(talk.due(now_s))


def opened(**wanted):
    talk = BoardTalk(baud=921_600, **wanted)
    talk.opened("/dev/ttyACM0", 0.0)
    return talk


def greeted(said, **wanted):
    """A talk that has heard this hello at 1 s."""
    talk = opened(**wanted)
    asked(talk, 0.0)
    talk.bytes_came(1.0)
    talk.hear(said, 1.0)
    return talk


def test_a_hello_is_asked_for_at_once_and_again_while_none_comes():
    talk = opened()

    assert [[c.op for c in asked(talk, t)] for t in (0.0, 1.0, 1.6)] == [
        [board.CommandOp.HELLO],
        [],
        [board.CommandOp.HELLO],
    ]


def test_nothing_is_wrong_while_there_was_no_time_yet():
    assert opened().message(1.9) == ""


def test_a_port_where_nothing_comes_is_told():
    assert opened().message(2.1) == (
        "/dev/ttyACM0 is open, but nothing arrives: is the board powered and running, and is it the right port?"
    )


def test_a_board_that_fell_silent_is_told():
    assert greeted(hello()).message(3.1).startswith("/dev/ttyACM0 stopped sending")


def test_bytes_without_frames_are_told_with_the_baud_and_where_to_look():
    talk = opened()
    talk.bytes_came(2.0)

    assert "another baud than 921600, or not a board of ours; `foreaft probe /dev/ttyACM0`" in talk.message(2.1)


def test_scans_without_a_hello_are_told():
    talk = opened()
    talk.bytes_came(2.5)
    talk.hear(board.Reply(1, 1, board.CommandResult.DONE), 2.5)

    assert talk.message(2.6).startswith("scans arrive, but no hello")


def a_scan():
    (scan,) = board.BoardDecoder("board").feed(board.encode_scan(0, 0, 0, [1, 2, 3], bits=24), 0)
    return scan


def test_a_board_whose_scans_cannot_be_used_is_told_with_the_reason():
    talk = greeted(hello())
    talk.hear(hello(), 3.0)
    talk.bytes_came(3.0)

    assert talk.message(2.9) == ""
    assert talk.message(3.1, "scan of 3 channels after a hello that names 2") == (
        "the board sends no scan that can be used: scan of 3 channels after a hello that names 2"
    )
    assert talk.message(3.1).endswith("its hello says that it sends them: look at its firmware")
    talk.hear(a_scan(), 3.2)
    assert talk.message(3.3) == ""


def test_a_slow_board_has_time_for_its_next_scan():
    talk = greeted(hello(rate_hz=0.5))
    talk.hear(hello(rate_hz=0.5), 6.9)
    talk.bytes_came(6.9)

    assert talk.message(6.9) == ""
    assert talk.message(7.1).startswith("the board sends no scan")


def test_a_stopped_board_has_time_to_begin():
    talk = greeted(hello(running=False))
    talk.hear(hello(), 5.0)
    talk.bytes_came(5.0)

    assert talk.message(5.1) == ""


def test_the_rate_and_the_gains_of_the_rig_file_are_asked_for_where_the_hello_differs():
    talk = greeted(hello(rate_hz=100.0, gain=64), rate_hz=1000.0, gains={"saddle": 128, "hands": 64})

    commands = asked(talk, 1.1)

    assert [(c.op, c.operands) for c in commands] == [
        (board.CommandOp.SET_RATE, (1_000_000,)),
        (board.CommandOp.SET_GAIN, (1, 128)),
    ]
    assert len({c.request for c in commands}) == 2


def test_a_board_that_already_fits_is_asked_for_nothing():
    assert asked(greeted(hello(), rate_hz=100.0, gains={"hands": 128}), 1.1) == []


def test_the_nearest_rate_a_converter_has_is_good_enough():
    assert asked(greeted(hello(rate_hz=976.6), rate_hz=1000.0), 1.1) == []


def test_a_stopped_board_is_started():
    assert [c.op for c in asked(greeted(hello(running=False)), 1.1)] == [board.CommandOp.START]


def test_it_is_asked_once_and_again_after_a_restart():
    talk = greeted(hello(), rate_hz=1000.0)
    asked(talk, 1.1)
    talk.hear(hello(), 1.2)
    again = asked(talk, 1.3)
    talk.hear(hello(boot=2), 1.4)

    assert again == []
    assert [c.op for c in asked(talk, 1.5)] == [board.CommandOp.SET_RATE]


def test_a_refusal_is_told_in_the_boards_own_words():
    talk = greeted(hello(), rate_hz=1000.0)
    (command,) = asked(talk, 1.1)
    talk.hear(board.Reply(command.request, command.op, board.CommandResult.BAD_OPERAND, "80 or 320 only"), 1.2)

    assert talk.message(1.3) == "the board refuses a rate of 1000 Hz: 80 or 320 only"


def test_a_board_that_does_not_answer_is_told():
    talk = greeted(hello(), gains={"hands": 64})
    asked(talk, 1.1)
    talk.bytes_came(2.2)
    talk.hear(hello(), 2.2)

    assert talk.message(2.2) == "the board does not answer to a gain of 64 on hands: does its receiving line reach it?"


def test_a_board_that_says_yes_and_does_not_do_it_is_told():
    talk = greeted(hello(), rate_hz=1000.0)
    (command,) = asked(talk, 1.1)
    talk.hear(board.Reply(command.request, command.op, board.CommandResult.DONE), 1.2)
    talk.hear(hello(), 1.3)

    assert talk.message(1.4) == "the board scans at 100 Hz, the rig file asks for 1000 Hz"


@pytest.mark.parametrize("rate_hz", [1000.0, 976.6])
def test_all_is_well_once_the_hello_shows_the_rate(rate_hz):
    talk = greeted(hello(), rate_hz=1000.0)
    (command,) = asked(talk, 1.1)
    talk.hear(board.Reply(command.request, command.op, board.CommandResult.DONE), 1.2)
    talk.hear(replace(hello(), scan_rate_hz=rate_hz), 1.3)

    assert talk.message(1.4) == ""


def test_requests_are_never_numbered_0_and_wrap_within_a_byte():
    talk = opened()
    numbers = [asked(talk, 2.0 * i)[0].request for i in range(600)]

    assert min(numbers) == 1
    assert max(numbers) == 255
