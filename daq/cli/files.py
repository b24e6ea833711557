"""Files given to a command by name, read within limits; an invalid one ends the command with exit code 2."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from daq.cli.telling import REFUSED, fail

STDIN = "-"


def text_of(name: str, most_bytes: int) -> str:
    """The text of a plain file, or with "-" of standard input, in UTF-8 without its byte order mark."""
    from daq.keep.bounded import Refused, read_stream, read_text

    try:
        if name != STDIN:
            return read_text(Path(name), most_bytes)
        return read_stream(sys.stdin.buffer, "standard input", most_bytes)
    except Refused as error:
        fail(REFUSED, error)
    except (OSError, ValueError) as error:  # a name with a NUL in it is a ValueError
        fail(REFUSED, f"{name}: {getattr(error, 'strerror', None) or error}")


def calibration_in(file: Path) -> Any:
    """The calibration in a file."""
    from daq.keep.bounded import MOST_CALIBRATION_BYTES, Refused, from_json, read_bytes
    from daq.measure.calibration import from_dict

    try:
        return from_dict(from_json(read_bytes(file, MOST_CALIBRATION_BYTES)))
    except Refused as error:
        fail(REFUSED, error)
    except (OSError, ValueError) as error:
        fail(REFUSED, f"{file} is not a calibration: {getattr(error, 'strerror', None) or error}")
