"""Which rows a table had, as its index lists them: it lies on pages of its own, so it often outlives its rows. Only one
that is whole says anything: every page read from its root down, in order, and no row found that it lacks.

Layout: sqlite.org/fileformat2.html, section 1.6 (index b-trees); an index's record ends with the number of its row
(section 2.3).
"""

from __future__ import annotations

import itertools
from collections.abc import Collection, Iterator
from typing import Any, TypeAlias

from daq.keep.rescue.pages import INNER_OF_INDEX, LEAF_OF_INDEX, Pages
from daq.keep.rescue.sqlite_rows import NoRecord, cell_places, children_of, index_cell_at

INDICES = {"chunks": ("chunks_by_time", 5), "notifications": ("notifications_by_time", 3)}
"""By table: the index that tells its rows' sessions and times, and how many whole numbers its records have."""
DEEPEST = 20
"""SQLite's own limit of a b-tree's depth (btreeInt.h, BTCURSOR_MAX_DEPTH; from memory)."""

Listed: TypeAlias = dict[int, tuple[int, ...]]
"""By a row's number: what its index has of it, in the order of the index's columns."""


def listed(pages: Pages, table: str, root: int | None, found: Collection[int]) -> Listed | None:
    """Every row the table had; None if its index does not tell. found: the numbers of those that were found."""
    if root is None:
        return None
    width = INDICES[table][1]
    try:
        found_there = list(records(pages, root, DEEPEST, set()))
    except NoRecord:
        return None
    if not all(len(one) == width and all(isinstance(value, int) for value in one) for one in found_there):
        return None
    if any(b <= a for a, b in itertools.pairwise(found_there)):
        return None
    rows = {one[-1]: one[:-1] for one in found_there}
    return rows if len(rows) == len(found_there) and rows.keys() >= set(found) else None


def records(pages: Pages, number: int, deepest: int, seen: set[int]) -> Iterator[tuple[Any, ...]]:
    """All from a root down, in the index's order. NoRecord where a page is none of an index, or was `seen` before:
    damaged pages may name one page a hundred times on every level.
    """
    page = pages.page(number)
    is_of_index = len(page) == pages.size and page[0] in (INNER_OF_INDEX, LEAF_OF_INDEX)
    if not is_of_index or number < 2 or not deepest or number in seen:
        raise NoRecord("no page of an index")
    seen.add(number)
    inner = page[0] == INNER_OF_INDEX
    places = cell_places(page, False, inner=inner)
    for i, child in enumerate(children_of(page, places) if inner else itertools.repeat(0, len(places) + 1)):
        if inner:
            yield from records(pages, child, deepest - 1, seen)
        if i < len(places):
            yield index_cell_at(page, places[i], inner=inner)
