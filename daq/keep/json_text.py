"""Records as JSON text: sorted keys, no NaN, dataclasses as objects, so that equal records are equal text."""

from __future__ import annotations

import dataclasses
import datetime
import enum
import hashlib
import json
import math
from collections.abc import Mapping
from typing import Any

import numpy as np

_PLAIN = frozenset({bool, int, str})


def json_text(value: Any) -> str:
    """The value as JSON text. NaN and infinity become null: missing, as everywhere else in the records."""
    return json.dumps(plain(value), sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def digest(text: str) -> str:
    """SHA-256 of a text, hexadecimal."""
    return hashlib.sha256(text.encode()).hexdigest()


def plain(value: Any) -> Any:
    """The value as plain JSON types. TypeError if that is impossible."""
    if value is None or type(value) in _PLAIN:
        return value
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, enum.IntFlag):
        return int(value)
    if isinstance(value, np.generic | np.ndarray):
        return plain(value.tolist())
    if isinstance(value, datetime.date):
        return value.isoformat()
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(item) for item in (sorted(value) if isinstance(value, set | frozenset) else value)]
    if isinstance(value, int | str):
        return value
    raise TypeError(f"expected numbers, text, lists and mappings, got {type(value).__name__}")
