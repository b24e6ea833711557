"""One line of the table of signs that a saddle is too far back."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Stands(StrEnum):
    """What a sign says of 'the saddle is too far back'."""

    FOR = "for"
    AGAINST = "against"
    NOT_VISIBLE = "not visible"


@dataclass(frozen=True, slots=True)
class Sign:
    """One line of the table."""

    title: str
    stands: Stands
    number: str
    why: str
