"""The daemon's log: one line per event on standard error, as JSON for a service or as text for a person. Never a
client's name: fields are chosen one by one, and an error is logged by its kind and place, not its text, which may quote
what somebody typed.
"""

from __future__ import annotations

import contextlib
import contextvars
import datetime
import json
import logging
import re
import secrets
import sys
import traceback
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Literal

from daq.live.log_flood import BoundedHandler
from daq.text import visible_line

Form = Literal["words", "json"]
FIELDS = ("method", "route", "status", "took_ms", "client", "why", "url", "store", "signal", "left_out")
"""What a record may carry besides its message."""

log = logging.getLogger("foreaft")

_number: contextvars.ContextVar[str] = contextvars.ContextVar("request", default="")


@contextlib.contextmanager
def numbered() -> Iterator[str]:
    """A number for one request, on every line logged inside the block."""
    number = secrets.token_hex(4)
    token = _number.set(number)
    try:
        yield number
    finally:
        _number.reset(token)


def set_up(form: Form) -> None:
    """Send all logging of this process to standard error in this form: as text only problems, as JSON commands too."""
    level = logging.INFO if form == "json" else logging.WARNING
    handler = BoundedHandler(sys.stderr)
    handler.setFormatter(_Formatter(form))
    logging.basicConfig(level=level, handlers=[handler], force=True)
    for name in ("uvicorn", "uvicorn.error", "uvicorn.access"):
        logging.getLogger(name).setLevel(logging.WARNING)


def fields_of(record: logging.LogRecord) -> dict[str, Any]:
    """What is written from a record."""
    found: dict[str, Any] = {
        "time": _utc(record.created),
        "level": record.levelname.lower(),
        "from": record.name,
        "message": record.msg if record.exc_info and record.args else record.getMessage(),
    }
    found |= {name: getattr(record, name) for name in FIELDS if hasattr(record, name)}
    if _number.get():
        found["request"] = _number.get()
    if record.exc_info and record.exc_info[1] is not None:
        error = record.exc_info[1]
        found["message"] = found["message"].partition("\n")[0]
        found["error"] = type(error).__name__
        found["reason"] = getattr(error, "strerror", None)
        frames = traceback.extract_tb(error.__traceback__)
        found["at"] = [f"{Path(frame.filename).name}:{frame.lineno} {frame.name}" for frame in frames[-8:]]
    return {name: value for name, value in found.items() if value is not None}


class _Formatter(logging.Formatter):
    def __init__(self, form: Form) -> None:
        super().__init__()
        self._form = form

    def format(self, record: logging.LogRecord) -> str:
        found = fields_of(record)
        if self._form == "json":
            return json.dumps(found)
        rest = "  ".join(f"{name}={_word(value)}" for name, value in list(found.items())[4:])
        return visible_line(f"{found['time']} {found['level']} {found['message']}  {rest}".rstrip())


def _word(value: Any) -> str:
    """A value that cannot be confused with the next field: as it is if it is one word, otherwise in quotation marks."""
    text = str(value)
    return text if re.fullmatch(r'[^\s="]+', text) else json.dumps(value, ensure_ascii=False)


def _utc(seconds: float) -> str:
    utc = datetime.datetime.fromtimestamp(seconds, datetime.UTC).replace(tzinfo=None)
    return utc.isoformat(timespec="milliseconds") + "Z"
