"""The board's side of the conversation: what a board's firmware answers to a host. Section 7 of
firmware_notes/wire_protocol.md. It knows neither port nor time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from daq.wire.board import (
    ChannelKind,
    Command,
    CommandDecoder,
    CommandOp,
    CommandResult,
    HelloBody,
    Reply,
    encode_hello,
    encode_reply,
)


class BoardSide:
    """A board's settings, in its `hello`, and how it obeys."""

    def __init__(self, hello: HelloBody, *, rates_hz: Sequence[float] = (), gains: Sequence[int] = ()) -> None:
        """rates_hz, gains: what its converters can be set to; None: anything."""
        self.hello = hello
        self.tare_asked = False
        """Whether its button was pressed and the host has not done the tare yet."""
        self._rates_hz, self._gains = rates_hz, gains
        self._commands = CommandDecoder()

    def hear(self, data: bytes, ticks_us: int) -> bytes:
        """The replies to the commands that end in these bytes, and a hello after what changes it. ticks_us: now."""
        said = b""
        for command in self._commands.feed(data):
            reply = self.obey(command) if isinstance(command, Command) else command
            said += encode_reply(reply)
            if reply.result is CommandResult.DONE and reply.op != CommandOp.TARE_DONE:
                said += encode_hello(replace(self.hello, ticks_us=ticks_us))
        return said

    def obey(self, command: Command) -> Reply:
        """Do it, and return the result."""
        result, text = CommandResult.DONE, ""
        if command.op is CommandOp.SET_RATE:
            result, text = self._set_rate(command.operands[0] / 1000)
        elif command.op is CommandOp.SET_GAIN:
            result, text = self._set_gain(*command.operands)
        elif command.op in (CommandOp.START, CommandOp.STOP):
            self.hello = replace(self.hello, running=command.op is CommandOp.START)
        elif command.op is CommandOp.TARE_DONE:
            self.tare_asked = False
        return Reply(command.request, command.op, result, text)

    def _set_rate(self, wanted_hz: float) -> tuple[CommandResult, str]:
        if wanted_hz <= 0.0:
            return CommandResult.BAD_OPERAND, "a rate is above 0"
        rate_hz = min(self._rates_hz or (wanted_hz,), key=lambda rate_hz: abs(rate_hz - wanted_hz))
        channels = tuple(replace(channel, rate_hz=rate_hz) for channel in self.hello.channels)
        self.hello = replace(self.hello, scan_rate_hz=rate_hz, channels=channels)
        return CommandResult.DONE, f"{rate_hz:g} Hz"

    def _set_gain(self, i: int, gain: int) -> tuple[CommandResult, str]:
        channels = list(self.hello.channels)
        if i >= len(channels):
            return CommandResult.BAD_OPERAND, f"no channel {i}: there are {len(channels)}, from 0"
        if channels[i].kind is not ChannelKind.BRIDGE:
            return CommandResult.BAD_OPERAND, f"{channels[i].name} has no amplifier"
        if self._gains and gain not in self._gains:
            return CommandResult.BAD_OPERAND, f"gains are {', '.join(map(str, self._gains))}"
        channels[i] = replace(channels[i], gain=gain)
        self.hello = replace(self.hello, channels=tuple(channels))
        return CommandResult.DONE, f"gain {gain} on {channels[i].name}"
