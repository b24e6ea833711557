"""Which sweeps each copy holds. The table is stored as an index, so its rows have no numbers by which one is missed:
only a tree that is whole tells, from its root down.
"""

from __future__ import annotations

import itertools
from typing import Any

from daq.keep.rescue.index_rows import DEEPEST, records
from daq.keep.rescue.pages import Pages
from daq.keep.rescue.sqlite_rows import NoRecord
from daq.keep.store.checksums import is_sound

COLUMNS = ("copy_id", "sweep_id", "crc")


def copied_sweeps(pages: Pages, root: int | None, *, unchecked: bool = False) -> list[tuple[int, int]] | None:
    """(copy, sweep) of every row there was; None if that is not known: a page or a row is not as it was written, or the
    log lost some page, in whose place an earlier one would pass for it.

    unchecked: whether rows without a checksum are taken; only those of a store from before there were any may be.
    """
    if root is None or pages.log.problems:
        return None
    try:
        rows = list(records(pages, root, DEEPEST, set()))
    except NoRecord:
        return None
    if not all(_as_written(row, 2 if unchecked else 3) for row in rows):
        return None
    found = [(copy_id, sweep_id) for copy_id, sweep_id, *_ in rows]
    return None if any(b <= a for a, b in itertools.pairwise(found)) else found


def _as_written(row: tuple[Any, ...], fewest: int) -> bool:
    """Whether it has so many columns and agrees with its checksum, where it has one."""
    numbers = fewest <= len(row) <= 3 and all(isinstance(value, int) for value in row)
    return numbers and is_sound("copied_sweeps", dict(zip(COLUMNS, row, strict=False)))
