"""What lies in the pages of a file: every row that is whole, wherever it lies, and what is not whole."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TypeAlias

from daq.keep.rescue.belongs import Columns, as_row, columns_by_table
from daq.keep.rescue.numbers import Place, put_right
from daq.keep.rescue.pages import INNER, LEAF, LEAF_OF_INDEX, Pages
from daq.keep.rescue.sqlite_rows import (
    FoundRow,
    NoRecord,
    accounts_for_all,
    any_cells,
    cell_at,
    cell_places,
    children_of,
)
from daq.keep.store.checksums import COVERED
from daq.keep.store.migrations import STEPS
from daq.keep.store.rows import Row

_MIGRATION = re.compile(r"\d+ [a-z]")
_MADE = re.compile(r"CREATE TABLE (\w+)")

_Bulk: TypeAlias = dict[str, dict[int, dict[int, int]]]
"""Numbers of the rows of BULK by table, page, and place on it."""
LOCK_BYTE = 2**30
"""The page of this byte is never used: sqlite.org/fileformat2.html, section 1.4."""
MOST_CUT_OFF = 1000
"""A store that lost more than 999 of 1000 pages is not one anybody rescues: a page named beyond is a damaged number."""
BULK = ("chunks", "notifications", "results")
"""Tables with more rows than memory should hold at once."""


@dataclass
class Found:
    """What lies in the pages of a file."""

    rows: dict[str, dict[int, Row]]
    """Sound rows by table and number, those of BULK left out."""
    places: dict[str, dict[int, Place]]
    """Of the rows of BULK by number."""
    damaged: list[FoundRow] = field(default_factory=list)
    """Rows that are there and not what was written."""
    lost_pages: list[int] = field(default_factory=list)
    """Pages on which nothing can be made out."""
    blank: list[int] = field(default_factory=list)
    """Pages of zeros: free ones, as removing a client leaves them, or lost ones; the file does not show which."""
    repeated: list[int] = field(default_factory=list)
    """Pages of rows that are the same as another one: what should be there was overwritten, or never written."""
    miscounted: list[int] = field(default_factory=list)
    """Pages that hold other rows than they say."""
    misnumbered: int = 0
    """Rows of BULK whose number was damaged."""
    migrations: set[str] = field(default_factory=set)
    """Names of the steps by which the tables were made."""
    listed: set[str] = field(default_factory=set)
    """The tables in the file's own list."""
    roots: dict[str, int] = field(default_factory=dict)
    """The first page of each table and index in that list."""
    named: set[int] = field(default_factory=set)
    """Pages that others lead to, so that they are, or were, in use."""
    expected: int = 0
    """The number of the last page there should be."""
    cut_off: int = 0
    """How many of those up to that are not there."""
    freed: set[str] = field(default_factory=set)
    """Tables of BULK with rows on free pages: they were dropped, and some of their pages may be used again."""

    @property
    def harmed(self) -> bool:
        """Whether anything is not as it was written."""
        pages = self.cut_off or self.lost_pages or self.blank or self.repeated or self.miscounted
        return bool(pages or self.damaged or self.missing_tables)

    @property
    def missing_tables(self) -> list[str]:
        """The tables that were made and are not in the file's list any more."""
        made = {name for step, sql in STEPS if step in self.migrations for name in _MADE.findall(sql)}
        return [table for table in COVERED if table in made - self.listed]


def found_in(pages: Pages) -> Found:
    """Every row that is whole, wherever it lies, and what is not whole."""
    taking = _Taking(pages)
    found, used = taking.found, taking.used
    doubtful: list[int] = []
    seen: set[int] = set()
    for number in pages.numbers:
        page = pages.page(number)
        if _begins_as_leaf(page, number):
            used.add(number)
            if hash(page) in seen and cell_places(page, number == 1):
                found.repeated.append(number)
            seen.add(hash(page))
            if not taking.leaf(number, page):
                doubtful.append(number)
    free, all_free = pages.free()
    free.add(LOCK_BYTE // pages.size + 1)
    rest = [n for n in pages.numbers if n not in used and n not in free]
    inner = {n for n in rest if _is_inner(pages.page(n), n)}
    found.named |= {child for n in inner for child in _children(pages.page(n), n)}
    found.expected = pages.stated or max(n for n in [pages.count, *found.named] if n <= MOST_CUT_OFF * pages.count)
    found.cut_off = found.expected - len([n for n in pages.numbers if n <= found.expected])
    for number in doubtful + [n for n in rest if n not in inner]:
        taken = taking.loose(number)
        if number in rest and number <= found.expected and not taken:
            free_perhaps = not all_free and number > 1 and number not in found.named and not any(pages.page(number))
            (found.blank if free_perhaps else found.lost_pages).append(number)
    taking.place_bulk()
    found.repeated = [n for n in found.repeated if n not in free]
    found.freed = {table for table in BULK if any(page in free for page, _ in found.places[table].values())}
    found.lost_pages = [n for n in found.lost_pages if n not in used]
    found.blank = [n for n in found.blank if n not in used]
    return found


class _Taking:
    """Takes the rows of one page after the other."""

    def __init__(self, pages: Pages) -> None:
        self._pages = pages
        self._known = columns_by_table()
        self._bulk: _Bulk = {table: {} for table in BULK}
        self.found = Found({table: {} for table in COVERED if table not in BULK}, {table: {} for table in BULK})
        self.used: set[int] = set()
        """Pages of which something was taken."""

    def leaf(self, number: int, page: bytes) -> bool:
        """Takes the rows a page points to; whether it held nothing else."""
        pages, found = self._pages, self.found
        whole, cells = len(page) == pages.size, []
        for place in cell_places(page, number == 1):
            try:
                cell = cell_at(page, place, pages.size, pages.page)
            except NoRecord:
                whole = False
                found.damaged.append(FoundRow(place, 0, (), ()))
                continue
            cells.append(cell)
            if _of_sqlite(cell):
                found.migrations |= {str(value) for value in cell.values if _MIGRATION.match(str(value))}
                _take_name(cell, found)
            elif not self._take(number, cell, self._bulk):
                found.damaged.append(cell)
                whole = False
        if whole and not accounts_for_all(page, number == 1, cells):
            found.miscounted.append(number)
            whole = False
        return whole

    def loose(self, number: int) -> int:
        """Takes what looks like a row anywhere on a page; how many were."""
        pages = self._pages
        loose: _Bulk = {table: {} for table in BULK}
        taken = sum(self._take(number, cell, loose) for cell in any_cells(pages.page(number), pages.size, pages.page))
        for table, by_page in loose.items():
            listed = self._bulk[table].get(number, {})
            if more := by_page.get(number, {}).items() - listed.items():  # the page does not say in which order
                self._bulk[table][number] = dict(sorted([*listed.items(), *more], key=lambda one: one[1]))
        return taken

    def place_bulk(self) -> None:
        """Says where the rows of BULK are, by their numbers."""
        found = self.found
        for table, by_page in self._bulk.items():
            columns = self._known[table]

            def is_copy(one: Place, other: Place, table: str = table, columns: Columns = columns) -> bool:
                return row_at(self._pages, table, columns, *one) == row_at(self._pages, table, columns, *other)

            listed = ([(number, (page, place)) for place, number in rows.items()] for page, rows in by_page.items())
            found.places[table] = put_right(listed, is_copy)
            at = found.places[table].items()
            found.misnumbered += sum(by_page[page][place] != number for number, (page, place) in at)

    def _take(self, page: int, cell: FoundRow, bulk: _Bulk) -> bool:
        """Puts a row where it belongs; False when it belongs nowhere. The first of a number counts."""
        for table, columns in self._known.items():
            row = as_row(table, columns, cell)
            if row is not None:
                if table in BULK:
                    bulk[table].setdefault(page, {})[cell.place] = cell.number
                else:
                    self.found.rows[table].setdefault(cell.number, row)
                self.used.update(cell.overflow)
                return True
        return False


def row_at(pages: Pages, table: str, columns: Columns, page: int, place: int) -> Row:
    """A row of BULK that was found here."""
    row = as_row(table, columns, cell_at(pages.page(page), place, pages.size, pages.page))
    assert row is not None
    return row


def _begins_as_leaf(page: bytes, number: int) -> bool:
    begin = 100 if number == 1 else 0
    return len(page) > begin and page[begin] == LEAF


def _is_inner(page: bytes, number: int) -> bool:
    """Whether it is a page of an index or above others: there are no rows of tables on it."""
    begin = 100 if number == 1 else 0
    if len(page) < begin + 12:
        return False
    cells, content = (
        int.from_bytes(page[begin + 3 : begin + 5], "big"),
        int.from_bytes(page[begin + 5 : begin + 7], "big"),
    )
    return page[begin] in (*INNER, LEAF_OF_INDEX) and begin + 8 + 2 * cells <= content <= len(page)


def _children(page: bytes, number: int) -> list[int]:
    """The pages that one above others leads to; none if it is not as SQLite makes it."""
    if page[100 if number == 1 else 0] not in INNER:
        return []
    try:
        found = children_of(page, cell_places(page, number == 1, inner=True), number == 1)
    except NoRecord:
        return []
    return found if len(set(found)) == len(found) and all(1 < one < 2**31 for one in found) else []


def _take_name(cell: FoundRow, found: Found) -> None:
    """Of the file's own list: a table or an index, and where it begins."""
    kind, name = map(str, cell.values[:2])
    if kind == "table":
        found.listed.add(name)
    if kind in ("table", "index") and isinstance(cell.values[3], int):
        found.roots[name] = cell.values[3]
        found.named.add(cell.values[3])


def _of_sqlite(cell: FoundRow) -> bool:
    """Whether it is a row of the table of tables, or of the list of migrations."""
    values = cell.values
    return (len(values) == 5 and values[0] in ("table", "index", "trigger", "view")) or "foreaft" in values
