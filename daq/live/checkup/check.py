"""What one check found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

State = Literal["well", "caution", "failed"]
WELL: State = "well"
CAUTION: State = "caution"
FAILED: State = "failed"


@dataclass(frozen=True, slots=True)
class Check:
    """One part and how it does. A failed one keeps a sweep from being trusted; a caution wants a look."""

    part: str
    state: State
    words: str
    """What was found, and what to do when it is not well."""
    figures: Mapping[str, Any] = field(default_factory=dict)
    """The numbers behind the words, units in their names."""
