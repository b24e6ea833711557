"""Lists as a sentence has them."""

from __future__ import annotations


def listed(words: list[str]) -> str:
    """The words one after the other, the last two joined by "and"."""
    return " and ".join(filter(None, [", ".join(words[:-1]), *words[-1:]]))
