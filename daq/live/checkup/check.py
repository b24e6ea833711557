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
class PartState:
    """One part and its state. After a failure no sweep can be trusted; a caution deserves a look."""

    part: str
    state: State
    words: str
    """What was found, and what to do if it is not in order."""
    figures: Mapping[str, Any] = field(default_factory=dict)
    """The numbers behind the text, with units in their names."""
