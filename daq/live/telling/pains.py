"""What hurt while riding, for a page."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from daq.fit.step_notes import PainTold


def pains_told(pains: Sequence[PainTold]) -> list[dict[str, Any]]:
    """Where the saddle was, how much from 0 to 10, and all of it in words."""
    return [{"setback_mm": one.setback_mm, "score": one.score, "said": one.said} for one in pains]
