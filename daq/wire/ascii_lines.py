"""Continuous text lines of a weighing indicator or transmitter, as their pattern in the rig file describes them.

The pattern is a regular expression for one whole line, in the syntax of RE2 (github.com/google/re2/wiki/Syntax), its
parts named:

    checksum            two hexadecimal digits over what stands before it, or over the part `covered`
    unit                the unit, when the line itself carries it
    overload, fault     there when the device says so: the scan is marked saturated, or as an error of the converter
    any other name      one channel; the scan has them in this order

    (?P<stable>...) is a channel too: leave what is not wanted unnamed.

RE2 matches any line in time linear in its length. Python's own re tries every way a pattern can match: with
"(\\d+)+kg" a line of 40 digits would hold up the daemon, and the stop with it, for hours.
"""

from __future__ import annotations

import functools
import operator
import re
from dataclasses import dataclass

import re2

from daq.physics import STANDARD_G_M_S2
from daq.values import Samples, Status
from daq.wire.transmitter import newtons_per, scan_of

LINE_ENDS = re.compile(rb"[\r\n\x02\x03]+")
"""Carriage return, line feed, and the STX and ETX some makers put around a line."""
MAX_LINE = 512
"""Bytes. A longer run without a line end is discarded as one damaged line."""
RESERVED = ("checksum", "covered", "unit", "overload", "fault")
CHECKSUMS = ("none", "xor", "sum")
_QUIET = re2.Options()
_QUIET.log_errors = False
"""Does not print to standard error; the reason is in the error."""
_QUIET.max_mem = 1 << 20
"""Bytes a pattern may take when it is compiled; "a{1000}{1000}" takes more and is refused."""


class BadLine(ValueError):
    """A line that cannot be read; the text says which and why."""


@dataclass(frozen=True, slots=True)
class LineFormat:
    """How a device writes. ValueError at once for an invalid pattern."""

    pattern: str
    unit: str = "kg"
    """Of lines that carry none."""
    decimal_comma: bool = False
    checksum: str = "none"
    """none, xor (all bytes exclusive-or, as in NMEA 0183) or sum (all bytes added, modulo 256)."""
    g_m_s2: float = STANDARD_G_M_S2
    """For devices that show a mass: gravity at the place where they were adjusted."""

    def __post_init__(self) -> None:
        try:
            groups = _compiled(self.pattern).groupindex
        except re2.error as error:
            raise ValueError(f"pattern {self.pattern!r} is no regular expression of RE2: {_reason(error)}") from error
        if not self.channels:
            raise ValueError(f"pattern {self.pattern!r} names no channel: expected (?P<name>...) around each load")
        if self.checksum not in CHECKSUMS:
            raise ValueError(f"checksum {self.checksum!r}: expected one of {', '.join(CHECKSUMS)}")
        if (self.checksum != "none") != ("checksum" in groups):
            raise ValueError("a checksum needs both its kind and its part (?P<checksum>..) in the pattern")
        newtons_per(self.unit)

    @property
    def channels(self) -> tuple[str, ...]:
        """Names of the loads, in the order of the pattern."""
        groups = _compiled(self.pattern).groupindex
        return tuple(name for name in sorted(groups, key=lambda name: groups[name]) if name not in RESERVED)


def _compiled(pattern: str) -> re2._Regexp:
    return re2.compile(pattern, _QUIET)


def _reason(error: re2.error) -> str:
    """RE2 gives its reason as bytes."""
    reason = error.args[0] if error.args else ""
    return reason.decode("utf-8", "replace") if isinstance(reason, bytes) else str(reason)


class LineDecoder:
    """Text in, one scan per line out. A line that cannot be read costs only itself: it adds to `damaged` and leaves a
    gap in the sequence. The rest of a line that began earlier is not counted.
    """

    def __init__(self, source: str, line_format: LineFormat) -> None:
        self.source = source
        self.scans = 0
        self.damaged = 0
        self.problem = ""
        """Why the last damaged line was rejected."""
        self._format = line_format
        self._pattern = _compiled(line_format.pattern)
        self.pending = b""
        self._in_step = False
        self._overlong = False
        self._cut = False
        self._sequence = 0

    @property
    def lost(self) -> tuple[int, int]:
        """Scans dropped, unknown for a device that does not number its lines; and lines damaged."""
        return 0, self.damaged

    def feed(self, data: bytes, received_us: int) -> list[Samples]:
        """The scans whose lines end in these bytes.

        No bytes: the port was just opened. Pending data is dropped and the first line rejected: its beginning may be
        missing, and the rest of a number is still a number.
        """
        if not data:
            self.pending, self._in_step, self._overlong, self._cut = b"", False, False, True
        lines = LINE_ENDS.split(self.pending + data)
        self.pending = lines.pop()
        taken = []
        for line in lines:
            overlong, self._overlong = self._overlong, False
            cut, self._cut = self._cut, False
            if (overlong or line) and not cut:
                taken += self._take(line, received_us, overlong)
            self._in_step = True
        if len(self.pending) > MAX_LINE:
            self.pending, self._overlong = b"", True
        return taken

    def _take(self, line: bytes, received_us: int, overlong: bool) -> list[Samples]:
        try:
            if overlong or len(line) > MAX_LINE:
                raise BadLine(f"more than {MAX_LINE} bytes without an end of line")
            samples = self._scan(line, received_us)
        except BadLine as error:
            if self._in_step:
                self.damaged += 1
                self._sequence += 1
                self.problem = str(error)
            return []
        self.scans += 1
        self._sequence += 1
        return [samples]

    def _scan(self, line: bytes, received_us: int) -> Samples:
        text = line.decode("latin-1").strip()
        match = self._pattern.fullmatch(text)
        if match is None:
            raise BadLine(f"line {text!r} does not fit the pattern {self._format.pattern!r}")
        self._check_sum(match, text)
        groups = match.groupdict()
        try:
            factor = newtons_per(groups.get("unit") or self._format.unit, g_m_s2=self._format.g_m_s2)
            loads = [self._load_n(groups[name], factor) for name in self._format.channels]
        except ValueError as error:
            raise BadLine(f"{error}, in line {text!r}") from error
        status = (Status.SATURATED if groups.get("overload") else 0) | (Status.ADC_ERROR if groups.get("fault") else 0)
        return scan_of(loads, source=self.source, received_us=received_us, sequence=self._sequence, status=status)

    def _load_n(self, text: str | None, factor: float) -> float | None:
        """None for a channel the line does not give a number for."""
        if text is None:
            return None
        number = text.replace(" ", "")
        if self._format.decimal_comma:
            number = number.replace(".", "").replace(",", ".")
        if not re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", number):
            raise ValueError(f"{text!r} is not a number")
        return float(number) * factor

    def _check_sum(self, match: re2._Match[str], text: str) -> None:
        if self._format.checksum == "none":
            return
        groups = match.re.groupindex
        covered = match["covered"] if "covered" in groups else text[: match.start(groups["checksum"])]
        fold = operator.xor if self._format.checksum == "xor" else operator.add
        expected = functools.reduce(fold, covered.encode("latin-1"), 0) % 256
        if match["checksum"].upper() != f"{expected:02X}":
            raise BadLine(f"checksum is {match['checksum']}, expected {expected:02X}, in line {text!r}")
