"""The header of a recording whose first block is damaged, from the copies further on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class HeaderAgain:
    """What a copy of the header tells."""

    header: Any = None
    """None: no copy is whole."""
    version: Any = None
    """Of the recording's layout; None where the copy does not say."""
    lost_in_front: bool = False
    """Items were received before the first that can be read: they are lost together with the header."""


def header_again(tables: Iterable[Mapping[str, Any] | None], end: Mapping[str, Any]) -> HeaderAgain:
    """The first copy in the tables after the header (None in place of damaged blocks), or that of the last block."""
    counted, gap = 0, False
    for table in tables:
        if table is None:
            gap = True
        elif "header" in table:
            return HeaderAgain(table["header"], table.get("version"), _more(table.get("before"), counted, gap))
        else:
            counted += len(of) if isinstance(of := table.get("of"), list) else 0
    return HeaderAgain(end.get("header"), None, _more(end.get("items"), counted, gap))


def _more(items: Any, counted: int, gap: bool) -> bool:
    """Whether there were more items than counted; a gap in between may hold them, and is told anyway."""
    return isinstance(items, int) and items > counted and not gap
