"""The rig file: text in, a Rig out, or a RigError that names every wrong key, its line, and what was expected there.
The caller reads the file.
"""

from __future__ import annotations

import re
import reprlib
import tomllib
from typing import Any

import pydantic

from daq.rig import Rig

MOST_BYTES = 256 * 1024
"""Of the text. The example with all its comments has 6 kB."""
MOST_PROBLEMS = 20
"""The most errors reported at once; a file with more is not a rig file."""
_LINKS = ("lines", "modbus")
"""Of a transmitter; they appear in the paths of errors, not in the file."""


class RigError(ValueError):
    """The rig file is invalid; the text has one line per wrong key."""


def parse_rig(text: str, *, name: str = "rig file") -> Rig:
    """The Rig a TOML text describes.

    Raises RigError: for broken TOML with its line and column, otherwise with one line per wrong key.
    """
    if len(text) > MOST_BYTES:
        raise RigError(f"{name}: expected at most {MOST_BYTES} bytes, got {len(text)}")
    try:
        table = tomllib.loads(text)
    except RecursionError as error:
        raise RigError(f"{name}: not a rig file: nested too deep") from error
    except ValueError as error:  # TOMLDecodeError is one; a number of thousands of digits is another
        raise RigError(f"{name}: not TOML: {error}") from error
    try:
        return Rig.model_validate(table)
    except pydantic.ValidationError as error:
        found = error.errors()
        problems = [_problem(problem, text, name) for problem in found[:MOST_PROBLEMS]]
        more = [f"{name}: {len(found) - MOST_PROBLEMS} more"] if len(found) > MOST_PROBLEMS else []
        raise RigError("\n".join(problems + more)) from error


def _problem(problem: Any, text: str, name: str) -> str:
    path = tuple(part for part in problem["loc"] if part not in _LINKS)
    kind = problem["type"]
    if kind.startswith("union_tag"):
        path = (*path, "link")
    key = "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in path).lstrip(".") or "whole file"
    line = _line_of(text, path)
    where = f"{name}, line {line}" if line else name
    if kind == "missing":
        return f"{where}: {key}: missing; a rig file needs it, see firmware_notes/rig.example.toml"
    if kind.startswith("union_tag"):
        return f"{where}: {key}: expected {' or '.join(map(repr, _LINKS))}, got {_shown(problem['input'])}"
    if kind == "extra_forbidden":
        return f"{where}: {key}: no such key in a rig file"
    expected = re.sub(r"^(Value error, )?(Input should (be|have) )?", "", problem["msg"])
    got = "" if isinstance(problem["input"], dict) else f", got {reprlib.repr(problem['input'])}"
    return f"{where}: {key}: expected {expected}{got}"


def _shown(table: Any) -> str:
    return reprlib.repr(table.get("link") if isinstance(table, dict) else table)


def _line_of(text: str, path: tuple[str | int, ...]) -> int | None:
    """Line of the key, found by walking the table headers; None if it is not in the file."""
    lines = text.splitlines()
    start = 0
    for i, part in enumerate(path):
        if isinstance(part, int):
            continue
        nth = path[i + 1] if i + 1 < len(path) and isinstance(path[i + 1], int) else 0
        pattern = re.compile(rf"\s*(\[+\s*)?{re.escape(str(part))}\s*(\]|=)")
        hits = [n for n, line in enumerate(lines) if n >= start and pattern.match(line)]
        if len(hits) <= int(nth):
            return start or None
        start = hits[int(nth)] + 1
    return start or None
