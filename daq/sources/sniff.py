"""Recognises some seconds of bytes from a port: a board of ours, a transmitter's lines, or why neither. Nothing here
opens a port; bytes with their receipt times go in.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from daq.values import Array, Samples, Status
from daq.wire.ascii_lines import LINE_ENDS, LineDecoder, LineFormat
from daq.wire.board import BoardDecoder, HelloBody, WrongVersion
from daq.wire.transmitter import COUNT_N, NEWTONS
from daq.words import counted

FEWEST_SCANS = 5
FEWEST_LINES = 3
PRINTABLE = frozenset(range(0x20, 0x7F)) | set(b"\r\n\t\x02\x03")
TEXT_SHARE = 0.98
NUMBER = re.compile(r"[-+]?[ ]*\d+(?:[.,]\d+)?")
LOAD = r"[-+]?[ ]*[\d.,]+"
UNITS = "|".join(sorted(NEWTONS, key=len, reverse=True))


@dataclass(frozen=True, slots=True)
class HeardChannel:
    """One channel as seen while listening."""

    name: str
    mean: float
    noise_rms: float
    """Noise about a straight line, so that slow drift does not count."""
    unit: str
    """counts, or N."""
    rest: str = ""
    """What else is known, for the person reading."""


@dataclass(frozen=True, slots=True)
class PortFinding:
    """What a port is."""

    protocol: str
    """board, lines, or empty when it was not recognised."""
    words: str
    """What it is, or why not, in one sentence or two."""
    received_bytes: int
    legible: bool = True
    """Whether the bytes make sense at this baud, so that no other has to be tried."""
    rate_hz: float | None = None
    channels: tuple[HeardChannel, ...] = ()
    dropped: int = 0
    damaged: int = 0
    crank_marks: int = 0
    """Turns of the crank that a board has reported meanwhile."""
    pattern: str | None = None
    """For the rig file, if the lines follow one."""
    examples: tuple[str, ...] = ()
    data_bits: int = 8
    parity: str = "none"
    """The settings to open the port with, as far as the bytes show them."""


def look_at(pieces: Sequence[tuple[int, bytes]], *, baud: int) -> PortFinding:
    """Recognise these bytes, each piece with its receipt time, microseconds."""
    data = b"".join(piece for _, piece in pieces)
    if not data:
        return PortFinding("", "nothing came: is it powered? A Modbus transmitter speaks only when asked (--modbus)", 0)
    found = _as_board(pieces, len(data)) or _as_lines(pieces) or _as_seven_bits(pieces)
    if found is not None:
        return found
    zeros = data.count(0) / len(data)
    guess = "often framed by zeros as our protocol is, but damaged" if zeros > 0.01 else "no text and no frames of ours"
    words = f"{counted(len(data), 'byte')} came at {baud} baud, {guess}; they begin {data[:24].hex(' ')}"
    return PortFinding("", words, len(data), legible=False)


def noise_rms(values: Array) -> float:
    """Standard deviation (n,) about the best straight line; NaN for fewer than three values."""
    if len(values) < 3:
        return float("nan")
    t = np.linspace(-1.0, 1.0, len(values))
    left = values - np.polynomial.polynomial.polyval(t, np.polynomial.polynomial.polyfit(t, values, 1))
    return float(np.sqrt((left**2).sum() / (len(values) - 2)))


def _as_board(pieces: Sequence[tuple[int, bytes]], received: int) -> PortFinding | None:
    decoder = BoardDecoder("board")
    scans: list[Samples] = []
    hello: HelloBody | None = None
    for _, said in decoder.feed_pieces(pieces):
        if isinstance(said, WrongVersion):
            return PortFinding("", str(said), received)
        if isinstance(said, Samples):
            scans.append(said)
        elif isinstance(said, HelloBody):
            hello = said
    if decoder.scans < FEWEST_SCANS and hello is None:
        return None
    enough = decoder.scans >= FEWEST_SCANS
    return PortFinding(
        protocol="board",
        words=_board_words(hello, decoder),
        received_bytes=received,
        rate_hz=_rate_hz(scans) if enough else None,
        channels=_channels(scans, hello) if enough else (),
        dropped=decoder.dropped,
        damaged=decoder.damaged + decoder.malformed,
        crank_marks=sum(int(np.count_nonzero(block.status & Status.CRANK_MARK)) for block in scans),
    )


def _board_words(hello: HelloBody | None, decoder: BoardDecoder) -> str:
    if hello is None:
        return "a board of ours that sends scans, but no hello: its channels have no names. Update its firmware"
    stopped = "" if hello.running else "; it is stopped, the daemon will start it"
    refused = decoder.problem and f"; what it sends cannot be used: {decoder.problem}"
    silent = "" if refused or not hello.running or decoder.scans >= FEWEST_SCANS else "; it sends no scans"
    return (
        f"board {hello.board_id}, wire protocol {hello.version}, firmware {hello.firmware!r}, "
        f"set to {hello.scan_rate_hz:g} scans/s{stopped}{silent}{refused}"
    )


def _rate_hz(scans: Sequence[Samples]) -> float | None:
    """Scans a second by the receipt times; None if they span no time."""
    times_us = np.concatenate([part.received_us for part in scans])
    span_s = float(times_us[-1] - times_us[0]) / 1e6
    return (len(times_us) - 1) / span_s if span_s > 0.0 else None


def _channels(scans: Sequence[Samples], hello: HelloBody | None) -> tuple[HeardChannel, ...]:
    k = scans[-1].counts.shape[1]
    counts = np.concatenate([part.counts for part in scans if part.counts.shape[1] == k]).astype(np.float64)
    named = hello.channels if hello is not None and len(hello.channels) == k else None
    found = []
    for i in range(k):
        noise = noise_rms(counts[:, i])
        rest = ""
        if named is not None:
            rest = f"{named[i].kind.name.lower()}, gain {named[i].gain}, {named[i].rate_hz:g} conversions/s"
            if named[i].units_per_count and named[i].kind.name == "BRIDGE":
                rest += f", noise {noise * (named[i].units_per_count or 0.0) * 1e6:.1f} nV/V"
        found.append(
            HeardChannel(named[i].name if named else f"column {i}", float(counts[:, i].mean()), noise, "counts", rest)
        )
    return tuple(found)


def _as_seven_bits(pieces: Sequence[tuple[int, bytes]]) -> PortFinding | None:
    """Text of seven data bits: read as eight, the highest is the parity bit."""
    data = b"".join(piece for _, piece in pieces)
    odd = sum(byte.bit_count() % 2 for byte in data) / len(data)
    if max(odd, 1.0 - odd) < TEXT_SHARE:
        return None
    found = _as_lines([(received_us, bytes(byte & 0x7F for byte in piece)) for received_us, piece in pieces])
    return found and replace(found, data_bits=7, parity="odd" if odd > 0.5 else "even")


def _as_lines(pieces: Sequence[tuple[int, bytes]]) -> PortFinding | None:
    data = b"".join(piece for _, piece in pieces)
    if sum(byte in PRINTABLE for byte in data) < TEXT_SHARE * len(data):
        return None
    lines = [line.decode("ascii", "replace").strip() for line in LINE_ENDS.split(data) if line.strip()][1:-1]
    if len(lines) < FEWEST_LINES:
        return PortFinding(
            "",
            f"text came, but fewer than {FEWEST_LINES} whole lines: listen longer, or it sends no ends of lines",
            len(data),
        )
    pattern = next(filter(None, map(pattern_of, lines)), None)
    if pattern is None:
        return PortFinding("", f"lines of text without a number in them, such as {lines[-1]!r}", len(data))
    decoder = LineDecoder("transmitter", LineFormat(pattern, decimal_comma=_has_comma(lines)))
    scans = [scan for received_us, piece in pieces for scan in decoder.feed(piece, received_us)]
    return PortFinding(
        protocol="lines",
        words=f"lines of text; {decoder.scans} of {decoder.scans + decoder.damaged} follow one pattern. "
        "Check which number is the load, and the unit",
        received_bytes=len(data),
        rate_hz=_rate_hz(scans) if len(scans) > 1 else None,
        channels=_loads(scans, LineFormat(pattern).channels),
        damaged=decoder.damaged,
        pattern=pattern,
        examples=tuple(lines[-3:]),
    )


def pattern_of(line: str) -> str | None:
    """A pattern that reads lines like this one, each number a channel; None if there is no number.

    Runs of capitals stand for any such run: transmitters write ST and US for steady and unsteady.
    """
    numbers = list(NUMBER.finditer(line))
    if not numbers:
        return None
    parts, end = [], 0
    for i, number in enumerate(numbers):
        name = "load" if len(numbers) == 1 else f"load_{i + 1}"
        parts += [_around(line[end : number.start()], after_number=i > 0), f"(?P<{name}>{LOAD})"]
        end = number.end()
    unit = re.match(rf"\s*({UNITS})(?![A-Za-z])", line[end:])
    if unit:
        parts.append(rf"\s*(?P<unit>{unit.group(1)})")
        end += unit.end()
    return "".join([*parts, _around(line[end:], after_number=True)])


def _around(text: str, *, after_number: bool) -> str:
    """Text between numbers: capitals and spaces may vary, the rest is literal."""
    lead = r"\s*" if after_number and text[:1] == " " else ""
    escaped = re.sub(r"[A-Z]+", "\0", text.strip())
    return lead + re.escape(escaped).replace("\0", "[A-Z]+").replace(r"\ ", r"\s*")


def _has_comma(lines: Sequence[str]) -> bool:
    return any(re.search(r"\d,\d+\b", line) and "." not in line for line in lines)


def _loads(scans: Sequence[Samples], names: Sequence[str]) -> tuple[HeardChannel, ...]:
    if not scans:
        return ()
    loads_n = np.concatenate([scan.counts for scan in scans]) * COUNT_N
    return tuple(
        HeardChannel(name, float(loads_n[:, i].mean()), noise_rms(loads_n[:, i]), "N", "if the unit is right")
        for i, name in enumerate(names)
    )
