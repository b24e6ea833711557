"""What sentences are made of: counts, lists, and numbers as they are printed."""

from __future__ import annotations

import re
from collections.abc import Sequence

_NEGATIVE = re.compile(r"(?<![\w.])-(?=\d)")


def counted(count: int, what: str) -> str:
    """'1 page', '2 pages'."""
    return f"{count} {what}{'' if count == 1 else 's'}"


def listed(words: Sequence[str], last: str = "and") -> str:
    """The words one after the other, the last two joined by `last`."""
    return f" {last} ".join(filter(None, [", ".join(words[:-1]), *words[-1:]]))


def with_minus_signs(text: str) -> str:
    """The text for print: the hyphen before a negative number is a minus sign; dates and ranges stay."""
    return _NEGATIVE.sub("\N{MINUS SIGN}", text)
