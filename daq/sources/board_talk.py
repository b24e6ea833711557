"""What the daemon asks a board, and what the board's silence, noise or answers mean. It is told what happens and when,
in seconds of any one clock, and knows neither port nor time itself. After a hello it requests the rate and the gains of
the rig file, and scans if the board has stopped; once each, again after every restart of the board.
"""

from __future__ import annotations

from collections.abc import Mapping

from daq.values import Samples
from daq.wire.board import Command, CommandOp, CommandResult, HelloBody, Item, Reply, encode_command, set_gain, set_rate

SILENT_S = 2.0
"""A board sends a hello every second whatever else it does."""
HELLO_AFTER_S = 1.5
REPLY_WITHIN_S = 1.0
"""The wire protocol allows 0.5."""
SCANS_MISSING = 3.0
"""A slow board gets the time of this many scans."""
RATE_OFF = 0.05
"""A board takes the nearest rate it can; a larger relative deviation is reported."""


class BoardTalk:
    """The conversation with one board."""

    def __init__(self, *, baud: int, rate_hz: float | None = None, gains: Mapping[str, int] | None = None) -> None:
        self._baud = baud
        self._rate_hz = rate_hz
        self._gains = dict(gains or {})
        self._request = 0
        self._greeted: tuple[str, int] | None = None
        self.opened("", 0.0)

    def opened(self, path: str, now_s: float) -> None:
        """The port has just been opened: nothing is known about what is there."""
        self._path = path
        self._byte_s = self._frame_s = self._scan_s = self._opened_s = now_s
        self._bytes = False
        self._hello: HelloBody | None = None
        self._asked_hello_s: float | None = None
        self._refusals: dict[str, str] = {}
        self._waiting: dict[int, tuple[str, float]] = {}
        self._to_ask: list[Command] = []
        self._greeted = None

    def bytes_came(self, now_s: float) -> None:
        """Bytes have arrived, whatever they are."""
        self._byte_s, self._bytes = now_s, True

    def hear(self, said: Item, now_s: float) -> None:
        """A whole frame has arrived."""
        self._frame_s = now_s
        if isinstance(said, HelloBody):
            self._hear_hello(said, now_s)
        elif isinstance(said, Samples):
            self._scan_s = now_s
        elif isinstance(said, Reply):
            self._hear_reply(said)

    def tare_done(self) -> None:
        """The tare requested by the board's button is done: tell the board."""
        self._to_ask.append(Command(self._next_request(), CommandOp.TARE_DONE))

    def due(self, now_s: float) -> bytes:
        """The commands to send now."""
        commands, self._to_ask = self._to_ask, []
        unheard = self._hello is None and (self._asked_hello_s is None or now_s - self._asked_hello_s > HELLO_AFTER_S)
        if unheard:
            self._asked_hello_s = now_s
            commands.insert(0, Command(self._next_request(), CommandOp.HELLO))
        for command in commands:
            if command.op is not CommandOp.HELLO:
                self._waiting[command.request] = _in_words(command, self._hello), now_s
        return b"".join(encode_command(command) for command in commands)

    def message(self, now_s: float, problem: str = "") -> str:
        """What is wrong, in one sentence with the remedy; empty if nothing is.

        problem: why the last scans could not be used.
        """
        if now_s - self._byte_s > SILENT_S:
            since = "stopped sending" if self._bytes else "is open, but nothing arrives"
            return f"{self._path} {since}: is the board powered and running, and is it the right port?"
        if now_s - self._frame_s > SILENT_S:
            return (
                f"bytes arrive on {self._path}, but no whole frame among them: another baud than {self._baud}, "
                f"or not a board of ours; `foreaft probe {self._path}` looks closer"
            )
        if self._hello is None:
            waited = now_s - self._opened_s > SILENT_S and self._bytes
            return "scans arrive, but no hello that names the channels: update the board's firmware" if waited else ""
        without_s = now_s - self._scan_s if self._hello.running else 0.0
        if without_s > SILENT_S and without_s * self._hello.scan_rate_hz > SCANS_MISSING:
            why = problem or "its hello says that it sends them: look at its firmware"
            return f"the board sends no scan that can be used: {why}"
        return self._unheeded(now_s)

    def _next_request(self) -> int:
        self._request = self._request % 255 + 1
        return self._request

    def _hear_hello(self, hello: HelloBody, now_s: float) -> None:
        if self._hello is None or not self._hello.running:
            self._scan_s = now_s
        self._hello = hello
        if self._greeted != (hello.board_id, hello.boot):
            self._greeted = hello.board_id, hello.boot
            self._refusals, self._waiting = {}, {}
            self._ask_for_what_differs(hello)

    def _ask_for_what_differs(self, hello: HelloBody) -> None:
        if self._rate_hz is not None and _is_off(hello.scan_rate_hz, self._rate_hz):
            self._to_ask.append(set_rate(self._next_request(), self._rate_hz))
        for i, channel in enumerate(hello.channels):
            if self._gains.get(channel.name, channel.gain) != channel.gain:
                self._to_ask.append(set_gain(self._next_request(), i, self._gains[channel.name]))
        if not hello.running:
            self._to_ask.append(Command(self._next_request(), CommandOp.START))

    def _hear_reply(self, reply: Reply) -> None:
        asked, _ = self._waiting.pop(reply.request, ("", 0.0))
        if asked and reply.result is not CommandResult.DONE:
            why = reply.text or reply.result.name.lower().replace("_", " ")
            self._refusals[asked] = f"the board refuses {asked}: {why}"

    def _unheeded(self, now_s: float) -> str:
        for words in self._refusals.values():
            return words
        for asked, sent_s in self._waiting.values():
            if now_s - sent_s > REPLY_WITHIN_S:
                return f"the board does not answer to {asked}: does its receiving line reach it?"
        hello = self._hello
        if hello and self._rate_hz and not self._waiting and _is_off(hello.scan_rate_hz, self._rate_hz):
            return f"the board scans at {hello.scan_rate_hz:g} Hz, the rig file asks for {self._rate_hz:g} Hz"
        return ""


def _is_off(rate_hz: float, wanted_hz: float) -> bool:
    return abs(rate_hz - wanted_hz) > RATE_OFF * wanted_hz


def _in_words(command: Command, hello: HelloBody | None) -> str:
    if command.op is CommandOp.SET_RATE:
        return f"a rate of {command.operands[0] / 1000:g} Hz"
    if command.op is CommandOp.SET_GAIN and hello is not None:
        return f"a gain of {command.operands[1]} on {hello.channels[command.operands[0]].name}"
    return "starting its scans" if command.op is CommandOp.START else "the end of its tare"
