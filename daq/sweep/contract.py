"""An answer as every command prints it: keys that other programs may rely on.

Stored results, recordings and the page's messages have the program's own names, which tell the test's result from the
answer's verdict; here a test has `verdict` and `interval`.
"""

from __future__ import annotations

import dataclasses
import enum
import math
from collections.abc import Mapping
from typing import Any

from daq.values import Onset

NAMES = {"interval_95": "interval", "result": "verdict"}
"""What a test of validity is called otherwise here."""


def contract(answer: Onset) -> dict[str, Any]:
    """The answer, ready for json.dumps; an unjustified number is None."""
    return in_contract(_plain(dataclasses.asdict(answer)))


def in_contract(stored: Mapping[str, Any]) -> dict[str, Any]:
    """A stored answer in the same keys, as far as the version that stored it had them."""
    tests = stored.get("validity")
    if not isinstance(tests, list):
        return dict(stored)
    return {**stored, "validity": [_test(one) if isinstance(one, Mapping) else one for one in tests]}


def _test(stored: Mapping[str, Any]) -> dict[str, Any]:
    return {NAMES.get(name, name): value for name, value in stored.items()}


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, enum.StrEnum):
        return str(value)
    if isinstance(value, dict):
        return {name: _plain(item) for name, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value
