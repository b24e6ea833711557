"""Files from elsewhere, read within limits: anything too large, too deep or not a plain file is refused before memory
is allocated for it. Every reader of a file that a person supplies goes through here. A refusal is one sentence with the
file's name and what was expected.
"""

from __future__ import annotations

import errno
import gzip
import io
import itertools
import json
import math
import os
import re
import stat
import time
import zlib
from collections.abc import Generator
from pathlib import Path
from typing import IO, Any

import zstandard

from daq.keep.private import PRIVATELY

KIB, MIB, GIB = 2**10, 2**20, 2**30
DEEPEST_JSON = 64
"""Levels of brackets. Python's own parser gives up at about 1000, with a RecursionError instead of a refusal."""
MOST_JSON_BYTES = 4 * MIB
"""Bytes of one text. Parsed, it may take twenty times as much."""

MOST_CALIBRATION_BYTES = MIB
"""Of a calibration file. 32 channels with their budgets take 100 KiB."""

_WITHOUT_WAITING = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOCTTY", 0)
_STRINGS = re.compile(r'"(?:[^"\\]|\\.)*+"?', re.DOTALL)
_LONG_NUMBER = re.compile(r"\d{19}")


class Refused(ValueError):
    """The file is refused; the text names it and says what was expected."""


def open_plain(path: Path, *, most_bytes: int | None = None) -> io.BufferedReader:
    """The file, opened for reading, if it is a plain one of at most so many bytes.

    Raises Refused for a pipe, a device, a socket, a folder or a file that is too long; OSError as open does. A pipe
    without a writer is not waited for.
    """
    try:
        descriptor = os.open(path, os.O_RDONLY | PRIVATELY | _WITHOUT_WAITING)
    except OSError as error:
        if error.errno == errno.ENXIO:  # a socket, or a missing device
            raise Refused(f"{path}: expected a plain file, got a {_kind(os.stat(path).st_mode)}") from error
        raise
    file = os.fdopen(descriptor, "rb") if _is_plain(descriptor) else None
    if file is None:
        mode = os.fstat(descriptor).st_mode
        os.close(descriptor)
        raise Refused(f"{path}: expected a plain file, got a {_kind(mode)}")
    size = os.fstat(descriptor).st_size
    if most_bytes is not None and size > most_bytes:
        file.close()
        raise Refused(f"{path}: expected at most {in_words(most_bytes)}, got {in_words(size)}")
    return file


def read_bytes(path: Path, most_bytes: int) -> bytes:
    """The content of a plain file. Refused if it is longer, even if it grows meanwhile; OSError."""
    with open_plain(path, most_bytes=most_bytes) as file:
        return _at_most(file, str(path), most_bytes)


def read_text(path: Path, most_bytes: int) -> str:
    """The same as text in UTF-8, without a byte order mark."""
    return _decoded(read_bytes(path, most_bytes), str(path))


def read_stream(stream: IO[bytes], name: str, most_bytes: int) -> str:
    """The text of an open stream, such as standard input, in UTF-8. Refused if it is longer."""
    return _decoded(_at_most(stream, name, most_bytes), name)


def from_json(text: str | bytes, *, most_bytes: int = MOST_JSON_BYTES) -> Any:
    """The value of a JSON text. ValueError, without the file's name, for one that is too long or too deep, and for
    numbers beyond 64 bits, infinities and NaN."""
    if len(text) > most_bytes:
        raise ValueError(f"expected at most {in_words(most_bytes)} of JSON, got {in_words(len(text))}")
    if isinstance(text, bytes):
        text = text.decode("utf-8")  # UnicodeDecodeError is a ValueError
    if text.count("[") + text.count("{") > DEEPEST_JSON and _depth(text) > DEEPEST_JSON:
        raise ValueError(f"expected JSON of at most {DEEPEST_JSON} levels, got more")
    whole = _whole_number if _LONG_NUMBER.search(text) else None  # a call per number: only if needed
    try:
        return json.loads(text, parse_float=_finite, parse_int=whole, parse_constant=_no_number)
    except json.JSONDecodeError as error:
        raise ValueError(f"not JSON: {error}") from error


def unzstd(packed: bytes, most_bytes: int) -> bytes:
    """The content of a zstd frame. ValueError if that is more than so many bytes, or the frame is damaged."""
    try:
        with zstandard.ZstdDecompressor(max_window_size=8 * MIB).stream_reader(packed) as reader:
            content: bytes = reader.read(most_bytes + 1)
    except (zstandard.ZstdError, MemoryError) as error:
        raise ValueError(str(error)) from error
    if len(content) > most_bytes:
        raise ValueError(f"expected at most {in_words(most_bytes)} unpacked, got more")
    return content


def gzip_lines(path: Path, *, most_bytes: int, most_line: int) -> Generator[str, None, None]:
    """The lines of a gzipped text in UTF-8, unpacked on demand. Refused if it unpacks to more than so many bytes, if a
    line is longer than most_line bytes, or if it is not gzip."""
    left = most_bytes
    with open_plain(path) as packed, gzip.GzipFile(fileobj=packed, mode="rb") as file:
        while True:
            try:
                line = file.readline(most_line + 1)
                if not line:
                    return
                text = line.decode("utf-8")
            except (OSError, EOFError, zlib.error) as error:
                raise Refused(f"{path}: not a whole gzip file: {error}") from error
            except UnicodeDecodeError as error:
                raise Refused(f"{path}: expected text in UTF-8") from error
            left -= len(line)
            if len(line) > most_line or left < 0:
                what = f"lines of at most {in_words(most_line)}" if left >= 0 else f"at most {in_words(most_bytes)}"
                raise Refused(f"{path}: expected {what} unpacked, got more")
            yield text


class Patience:
    """A budget of processor time for what a file or a folder asks to be computed: a fixed time, plus a second per so
    many bytes. A sound file takes a tenth of it on a machine of 2023, and less than half on one five times slower.
    """

    SECONDS = 5.0
    REPLAYED, IMPORTED = 100_000, 400_000
    """Bytes a second. Measured: a recording is replayed at 1.1 MB/s, an export imported at 8 MB/s."""

    def __init__(self, path: Path, bytes_a_second: int) -> None:
        files = path.rglob("*") if path.is_dir() else [path]
        size = sum(file.lstat().st_size for file in itertools.islice(files, 1000))
        self._path = path
        self._until_s = time.process_time() + self.SECONDS + size / bytes_a_second

    def left(self) -> bool:
        """True while some is left; then Refused."""
        if time.process_time() > self._until_s:
            raise Refused(f"{self._path}: asks for more work than a file of its size can; given up")
        return True


def in_words(count: int) -> str:
    """A number of bytes in readable form."""
    for unit, size in (("GiB", GIB), ("MiB", MIB), ("KiB", KIB)):
        if count >= size:
            return f"{count / size:.4g} {unit}"
    return f"{count} bytes"


def _at_most(file: IO[bytes], name: str, most_bytes: int) -> bytes:
    content = file.read(most_bytes + 1)
    if len(content) > most_bytes:
        raise Refused(f"{name}: expected at most {in_words(most_bytes)}, got more")
    return content


def _decoded(content: bytes, name: str) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise Refused(f"{name}: not text in UTF-8, from byte {error.start} on; save it as UTF-8") from error


def _is_plain(descriptor: int) -> bool:
    return stat.S_ISREG(os.fstat(descriptor).st_mode)


def _kind(mode: int) -> str:
    kinds = ((stat.S_ISFIFO, "pipe"), (stat.S_ISDIR, "folder"), (stat.S_ISSOCK, "socket"))
    return next((name for test, name in kinds if test(mode)), "device")


def _depth(text: str) -> int:
    """Levels of brackets outside strings."""
    depth = deepest = 0
    for letter in re.findall(r"[\[\]{}]", _STRINGS.sub("", text)):
        depth += 1 if letter in "[{" else -1
        deepest = max(deepest, depth)
    return deepest


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"expected finite numbers, got {text[:20]}")
    return value


def _whole_number(text: str) -> int:
    value = int(text) if len(text) <= 20 else 2**64
    if not -(2**63) <= value < 2**64:
        raise ValueError(f"expected whole numbers of at most 64 bits, got {text[:20]}...")
    return value


def _no_number(text: str) -> float:
    raise ValueError(f"expected numbers, got {text}")
