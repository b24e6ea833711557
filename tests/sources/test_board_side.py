"""What a board answers, against section 7 of the wire protocol."""

import pytest

from daq.sources.board_side import BoardSide
from daq.wire import board
from tests.sources.fake_board import hello


def asked(side, *commands):
    """What the board says to these, decoded by the host's side of the line."""
    return board.BoardDecoder("board").feed(side.hear(b"".join(map(board.encode_command, commands)), 5_000), 0)


def test_each_command_is_answered_in_order_with_its_number_and_a_hello_where_something_changed():
    side = BoardSide(hello())

    said = asked(
        side,
        board.Command(7, board.CommandOp.STOP),
        board.Command(8, board.CommandOp.TARE_DONE),
        board.Command(9, board.CommandOp.HELLO),
        board.Command(10, board.CommandOp.START),
    )

    kinds = [(item.request, item.result) if isinstance(item, board.Reply) else item.running for item in said]
    assert kinds == [(7, 0), False, (8, 0), (9, 0), False, (10, 0), True]
    assert {item.ticks_us for item in said if isinstance(item, board.HelloBody)} == {5_000}


def test_the_nearest_rate_is_taken_and_told():
    side = BoardSide(hello(), rates_hz=(10.0, 80.0, 320.0))

    reply, said = asked(side, board.set_rate(1, 100.0))

    assert (reply.result, reply.text) == (board.CommandResult.DONE, "80 Hz")
    assert said.scan_rate_hz == 80.0
    assert {channel.rate_hz for channel in said.channels} == {80.0}


def test_a_gain_is_set_on_its_channel_alone():
    side = BoardSide(hello(), gains=(64, 128))

    _, said = asked(side, board.set_gain(1, 1, 64))

    assert [channel.gain for channel in said.channels] == [128, 64, 128]


@pytest.mark.parametrize(
    ("command", "says"),
    [
        (board.set_gain(1, 0, 7), "gains are 64, 128"),
        (board.set_gain(1, 9, 64), "no channel 9: there are 3, from 0"),
        (board.set_gain(1, 2, 64), "tilt has no amplifier"),
        (board.set_rate(1, 0.0), "a rate is above 0"),
    ],
)
def test_what_cannot_be_set_is_refused_with_the_reason_and_nothing_changes(command, says):
    side = BoardSide(hello(), gains=(64, 128))

    (reply,) = asked(side, command)

    assert (reply.result, reply.text) == (board.CommandResult.BAD_OPERAND, says)
    assert side.hello == hello()


def test_an_unknown_command_is_refused_and_noise_before_one_is_passed_over():
    side = BoardSide(hello())
    unknown = board.encode_command(board.Command(3, board.CommandOp.START)).replace(b"\x03\x02", b"\x03\x63")

    assert side.hear(b"noise" + unknown, 0) == b""  # its check does not fit any more
    (reply, _) = asked(side, board.Command(4, board.CommandOp.HELLO))
    assert reply.request == 4
