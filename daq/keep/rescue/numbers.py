"""Rows whose number is damaged. It is in no checksum, but the rows of a table lie in the order of their numbers: from
left to right on a page, and no two pages overlap (sqlite.org/fileformat2.html, section 1.6).
"""

from __future__ import annotations

import bisect
import itertools
from collections.abc import Callable, Iterable, Sequence
from typing import TypeAlias

Place: TypeAlias = tuple[int, int]
"""Page, and place on it."""
Numbered: TypeAlias = tuple[int, Place]
_BITS = 63


def put_right(pages: Iterable[Sequence[Numbered]], is_copy: Callable[[Place, Place], bool]) -> dict[int, Place]:
    """Where each row lies. pages: the rows of each page in its order. is_copy: whether two places have the same row,
    which counts once.

    Most numbers are right. Those out of order get the one between their neighbours that a flipped bit would explain,
    else the next free one; where there is none, as on a page with a single row, another free one.
    """
    by_page = sorted((page for page in pages if page), key=_middle)
    rows = list(itertools.chain.from_iterable(by_page))
    in_order = _longest_rising([number for number, _ in rows])
    found = {rows[i][0]: rows[i][1] for i in in_order}
    left_over: list[Numbered] = []
    for before, after in itertools.pairwise([-1, *in_order, len(rows)]):
        low = rows[before][0] if before >= 0 else 0
        high = rows[after][0] if after < len(rows) else 2**_BITS
        for number, place in rows[before + 1 : after]:
            if number in found and is_copy(place, found[number]):
                continue
            flipped = [one for bit in range(_BITS) if low < (one := number ^ (1 << bit)) < high]
            right = flipped[0] if len(flipped) == 1 else low + 1
            if right < high:
                found[right], low = place, right
            else:
                left_over.append((number, place))
    for number, place in left_over:
        free = [one for bit in range(_BITS) if 0 < (one := number ^ (1 << bit)) < max(found) and one not in found]
        found[free[0] if free else max(found) + 1] = place
    return found


def _middle(page: Sequence[Numbered]) -> int:
    """The number in the middle of a page's, which is right if most are."""
    return sorted(number for number, _ in page)[len(page) // 2]


def _longest_rising(numbers: Sequence[int]) -> list[int]:
    """Indices of the longest rising part of them (patience sorting; Fredman 1975, Discrete Mathematics 11:29; from
    memory)."""
    ends: list[int] = []
    at: list[int] = []
    before: list[int] = []
    for i, number in enumerate(numbers):
        length = bisect.bisect_left(ends, number)
        before.append(at[length - 1] if length else -1)
        ends[length : length + 1] = [number]
        at[length : length + 1] = [i]
    chain = []
    i = at[-1] if at else -1
    while i >= 0:
        chain.append(i)
        i = before[i]
    return chain[::-1]
