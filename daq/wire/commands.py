"""What a host asks a board, and what the board answers.

    command = uint8 type = 0x10 | uint8 request | uint8 op | operands
    reply   = uint8 type = 0x04 | uint8 request | uint8 op | uint8 result | UTF-8 to the end

`request` is any number the host chooses; the reply repeats it. A board answers every command, in order, within 500 ms.
"""

from __future__ import annotations

import enum
import struct
from dataclasses import dataclass

from daq.wire.frames import Deframer, frame

REPLY, COMMAND = 0x04, 0x10


class CommandOp(enum.IntEnum):
    """What can be asked."""

    HELLO = 1
    """Send a hello now."""
    START = 2
    STOP = 3
    SET_RATE = 4
    """Scans a second; the board takes the nearest it can and says so in a hello."""
    SET_GAIN = 5
    """Gain of one channel, by its place in the hello."""
    TARE_DONE = 6
    """The tare requested by the board's button is done: clear the flag, show it."""


_OPERANDS = {
    CommandOp.HELLO: struct.Struct("<"),
    CommandOp.START: struct.Struct("<"),
    CommandOp.STOP: struct.Struct("<"),
    CommandOp.SET_RATE: struct.Struct("<I"),
    CommandOp.SET_GAIN: struct.Struct("<BH"),
    CommandOp.TARE_DONE: struct.Struct("<"),
}


class CommandResult(enum.IntEnum):
    """How it went."""

    DONE = 0
    UNKNOWN = 1
    BAD_OPERAND = 2
    NOT_NOW = 3
    FAILED = 4


@dataclass(frozen=True, slots=True)
class Command:
    """One request; build it with the functions below. Operands are as on the wire: rates in 1/1000 Hz."""

    request: int
    op: CommandOp
    operands: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Reply:
    """The board's answer to one request."""

    request: int
    op: int
    result: CommandResult
    text: str = ""
    """In the board's own words, for a human reader."""


def set_rate(request: int, rate_hz: float) -> Command:
    """Ask for this many scans a second."""
    return Command(request, CommandOp.SET_RATE, (round(rate_hz * 1000),))


def set_gain(request: int, channel: int, gain: int) -> Command:
    """Ask for this gain on one channel, counted from 0."""
    return Command(request, CommandOp.SET_GAIN, (channel, gain))


def encode_command(command: Command) -> bytes:
    """The frame of a command, with a zero before it that ends whatever noise the board may have read so far.

    ValueError if the operands do not fit the op.
    """
    try:
        operands = _OPERANDS[command.op].pack(*command.operands)
        return b"\0" + frame(bytes([COMMAND, command.request, command.op]) + operands)
    except (struct.error, ValueError) as error:
        raise ValueError(f"command {command.op.name} does not take {command.operands}: {error}") from error


def decode_command(body: bytes) -> Command | Reply:
    """The command in this body; or the reply that refuses it if it cannot be understood."""
    request, code = (*body[1:3], 0, 0)[:2]
    if code not in _OPERANDS:
        return Reply(request, code, CommandResult.UNKNOWN, f"no op {code}")
    op = CommandOp(code)
    if len(body) != 3 + _OPERANDS[op].size:
        expected = _OPERANDS[op].size
        return Reply(request, code, CommandResult.BAD_OPERAND, f"{op.name} takes {expected} bytes, got {len(body) - 3}")
    return Command(request, op, _OPERANDS[op].unpack_from(body, 3))


def encode_reply(reply: Reply) -> bytes:
    """The frame of a reply."""
    return frame(bytes([REPLY, reply.request, reply.op, reply.result]) + reply.text.encode())


def decode_reply(body: bytes) -> Reply:
    """The reply in this body. ValueError if it is too short or its result is unknown."""
    if len(body) < 4 or body[3] not in CommandResult.__members__.values():
        raise ValueError(f"reply {body.hex(' ')}: expected type, request, op, result 0 to {max(CommandResult)}, text")
    return Reply(body[1], body[2], CommandResult(body[3]), body[4:].decode(errors="replace"))


class CommandDecoder:
    """The board's side of the line: bytes in, commands out; what cannot be understood comes out as its refusal."""

    def __init__(self) -> None:
        self._frames = Deframer()

    def feed(self, data: bytes) -> list[Command | Reply]:
        """The commands that end in these bytes."""
        return [decode_command(body) for body in self._frames.feed(data) if body[0] == COMMAND]
