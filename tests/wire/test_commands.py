"""Commands and replies, both ways; expected bytes written out from firmware_notes/wire_protocol.md."""

import pytest

from daq.wire import board
from tests.wire import by_hand

COMMANDS = [
    (board.Command(1, board.CommandOp.HELLO), "10 01 01"),
    (board.Command(2, board.CommandOp.START), "10 02 02"),
    (board.Command(3, board.CommandOp.STOP), "10 03 03"),
    (board.set_rate(4, 80.0), "10 04 04 80380100"),
    (board.set_gain(5, channel=1, gain=128), "10 05 05 01 8000"),
    (board.Command(255, board.CommandOp.TARE_DONE), "10 ff 06"),
]
REPLIES = [
    (board.Reply(4, board.CommandOp.SET_RATE, board.CommandResult.DONE), "04 04 04 00"),
    (board.Reply(5, board.CommandOp.SET_GAIN, board.CommandResult.BAD_OPERAND, "gain 3"), "04 05 05 02 6761696e2033"),
]


@pytest.mark.parametrize(("command", "body"), COMMANDS)
def test_a_command_is_written_and_read_as_the_notes_say(command, body):
    frame = b"\0" + by_hand.frame(bytes.fromhex(body))

    assert board.encode_command(command) == frame
    assert board.CommandDecoder().feed(frame) == [command]


@pytest.mark.parametrize(("reply", "body"), REPLIES)
def test_a_reply_is_written_and_read_as_the_notes_say(reply, body):
    frame = by_hand.frame(bytes.fromhex(body))

    assert board.encode_reply(reply) == frame
    assert board.BoardDecoder("jig").feed(frame, 0) == [reply]


def test_noise_before_a_command_does_not_hide_it():
    command, _ = COMMANDS[3]

    assert board.CommandDecoder().feed(b"\x13noise" + board.encode_command(command)) == [command]


@pytest.mark.parametrize(
    ("body", "refusal"),
    [
        ("10 07 63", board.Reply(7, 0x63, board.CommandResult.UNKNOWN, "no op 99")),
        ("10 07 04 8038", board.Reply(7, 4, board.CommandResult.BAD_OPERAND, "SET_RATE takes 4 bytes, got 2")),
        ("10 07", board.Reply(7, 0, board.CommandResult.UNKNOWN, "no op 0")),
    ],
)
def test_a_command_a_board_cannot_understand_is_refused_by_name(body, refusal):
    assert board.CommandDecoder().feed(by_hand.frame(bytes.fromhex(body))) == [refusal]


@pytest.mark.parametrize(
    "command",
    [board.Command(1, board.CommandOp.SET_RATE), board.Command(256, board.CommandOp.START), board.set_rate(1, 5e6)],
)
def test_operands_that_do_not_fit_are_refused_when_written(command):
    with pytest.raises(ValueError, match=f"{command.op.name} does not take"):
        board.encode_command(command)


def test_a_reply_with_a_result_of_no_meaning_is_malformed():
    decoder = board.BoardDecoder("jig")

    assert decoder.feed(by_hand.frame(bytes.fromhex("04 01 01 63")), 0) == []
    assert decoder.malformed == 1
    assert decoder.problem == "reply 04 01 01 63: expected type, request, op, result 0 to 4, text"
