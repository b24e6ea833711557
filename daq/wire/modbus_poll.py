"""One poll of a Modbus line as bytes, and the scan that it makes.

    poll    uint16 number of the poll, low byte first | answers, one after the other
    answer  uint8 unit | uint8 function | uint8 how many bytes | words, high byte first

An answer stands as the unit sent it (Modbus Application Protocol V1.1b3, 6.3 and 6.4), without its CRC, which was
checked when it came. A unit that did not answer, or whose answer could not be used, is missing.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence

import numpy as np

from daq.values import Samples, Status
from daq.wire.modbus import Register, samples_from

_NUMBER = struct.Struct("<H")
_ANSWER = struct.Struct("BBB")


def encode_poll(number: int, answers: Mapping[int, Sequence[int]], *, function: int) -> bytes:
    """The poll of this number, which wraps, with the words of each unit that answered."""
    parts = [_ANSWER.pack(unit, function, 2 * len(words)) + _words(len(words)).pack(*words)
             for unit, words in answers.items()]  # fmt: skip
    return _NUMBER.pack(number & 0xFFFF) + b"".join(parts)


def decode_poll(poll: bytes) -> tuple[int, dict[int, tuple[int, ...]]]:
    """Number of a poll and the words by unit. ValueError when it was cut off."""
    try:
        (number,) = _NUMBER.unpack_from(poll)
        answers, at = {}, _NUMBER.size
        while at < len(poll):
            unit, _, size = _ANSWER.unpack_from(poll, at)
            at += _ANSWER.size
            answers[unit] = _words(size // 2).unpack_from(poll, at)
            at += size
    except struct.error as error:
        raise ValueError(f"poll {poll.hex(' ')}: cut off") from error
    return number, answers


def _words(n: int) -> struct.Struct:
    return struct.Struct(f">{n}H")


class PollDecoder:
    """Polls in, scans out: one of each poll in which a unit answered, as soon as every unit has answered once.

    missed    polls that had no time, by their numbers
    failed    answers that did not come or could not be used
    """

    def __init__(self, source: str, units: Mapping[int, tuple[Register, ...]]) -> None:
        self.source = source
        self.scans = self.missed = self.failed = 0
        self.problem = ""
        self.pending = b""
        """Nothing ever: a poll comes whole."""
        self._units = units
        self._last: dict[int, Samples] = {}
        self._number: int | None = None

    @property
    def lost(self) -> tuple[int, int]:
        """Polls missed, and answers failed."""
        return self.missed, self.failed

    def feed(self, poll: bytes, received_us: int) -> list[Samples]:
        """The scan of one poll. No bytes: the port was opened anew."""
        if not poll:
            return []
        try:
            number, answers = decode_poll(poll)
            now = {
                unit: samples_from(
                    words, self._units[unit], source=self.source, received_us=received_us, sequence=number
                )
                for unit, words in answers.items()
            }
        except (ValueError, KeyError) as error:
            self.failed += len(self._units)
            self.problem = str(error)
            return []
        if self._number is not None:
            self.missed += (number - self._number - 1) & 0xFFFF
        self._number = number
        self.failed += len(self._units) - len(answers)
        self._last |= now
        if not answers or len(self._last) < len(self._units):
            return []
        self.scans += 1
        status = Status(0) if len(answers) == len(self._units) else Status.ADC_ERROR
        return [self._scan(received_us, number, status)]

    def _scan(self, received_us: int, number: int, status: Status) -> Samples:
        """The loads of all units side by side; of one that did not answer now, its last."""
        parts = [self._last[unit] for unit in self._units]
        for part in parts:
            status |= Status(int(part.status[0]))
        return Samples(
            source=self.source,
            received_us=np.array([received_us], dtype=np.int64),
            ticks_us=np.array([received_us % (1 << 32)], dtype=np.uint32),
            sequence=np.array([number], dtype=np.uint16),
            status=np.array([status], dtype=np.uint8),
            counts=np.concatenate([part.counts for part in parts], axis=1),
        )
