"""A log that nobody can fill: lines of one kind are bounded per minute, the others counted. Whoever reaches the
daemon's port can cause a line per request, without a pass and faster than any limit of the gate.
"""

from __future__ import annotations

import copy
import logging
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TextIO, TypeAlias

from daq.sources.clock import steady_ns

PER_MINUTE = 60
COMMANDS_PER_MINUTE = 1200
"""Successful commands need a pass. One screen with one cannot send so many for long (daq.live.web.gate)."""
Kind: TypeAlias = tuple[str, int, object]
"""The place in the program, and the status of a request: a fault must not disappear among refusals."""


@dataclass(slots=True)
class _Seen:
    lines: int = 0
    last: logging.LogRecord | None = None
    """The last one left out."""


class Flood:
    """Which records are written."""

    def __init__(self) -> None:
        self._seen: dict[Kind, _Seen] = {}
        self._until_ns = 0

    def written(self, record: logging.LogRecord, now_ns: int) -> Iterator[logging.LogRecord]:
        """The record if there is room for it, after the number of those left out in the minute before."""
        if now_ns >= self._until_ns:
            yield from self.left_out()
            self._until_ns = now_ns + 60 * 10**9
        seen = self._seen.setdefault((record.pathname, record.lineno, getattr(record, "status", None)), _Seen())
        seen.lines += 1
        most = _most(record)
        if seen.lines < most:
            yield record
        elif seen.lines == most:
            yield _with(record, "the rest of this minute, which is counted")
        else:
            seen.last = record

    def left_out(self) -> Iterator[logging.LogRecord]:
        """A line for each kind of which some were left out; then all are counted anew."""
        before, self._seen = self._seen, {}
        for seen in before.values():
            if seen.last is not None:
                yield _with(seen.last, seen.lines - _most(seen.last) - 1)


class BoundedHandler(logging.StreamHandler[TextIO]):
    """Writes what the flood leaves."""

    def __init__(self, stream: TextIO, clock_ns: Callable[[], int] = steady_ns) -> None:
        super().__init__(stream)
        self._flood, self._clock_ns = Flood(), clock_ns

    def close(self) -> None:
        """What was left out since the last minute is told too."""
        for one in self._flood.left_out():
            super().emit(one)
        super().close()

    def emit(self, record: logging.LogRecord) -> None:
        for one in self._flood.written(record, self._clock_ns()):
            super().emit(one)


def _most(record: logging.LogRecord) -> int:
    return PER_MINUTE if record.levelno >= logging.WARNING else COMMANDS_PER_MINUTE


def _with(record: logging.LogRecord, left_out: object) -> logging.LogRecord:
    made = copy.copy(record)
    made.left_out = left_out
    return made
