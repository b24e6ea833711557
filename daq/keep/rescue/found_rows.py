"""Which table a row belongs to that was found somewhere in a file: its checksum and the types of its columns tell,
whatever became of the tables."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

from daq.keep.bounded import from_json
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
from daq.keep.store.checksums import COVERED, is_sound
from daq.keep.store.contents import JSON_COLUMNS
from daq.keep.store.migrations import STEPS
from daq.keep.store.rows import Row, key_of

_UTC = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d|unknown$")
_MIGRATION = re.compile(r"\d+ [a-z]")
_MADE = re.compile(r"CREATE TABLE (\w+)")
_TYPES: Mapping[str, type] = {"INTEGER": int, "TEXT": str, "BLOB": bytes, "REAL": float}
_LOOKS: Mapping[str, Callable[[Row], bool]] = {
    "clients": lambda row: re.match(r"R-[0-9A-Z]{6}$", row["pseudonym"]) is not None,
    "consents": lambda row: row["kind"] in ("service", "research", "images") and row["given"] in (0, 1),
    "client_joins": lambda row: row["kind"] in ("joined", "parted"),
    "copies": lambda row: row["kind"] in ("backup", "export"),
    "weight_checks": lambda row: '"shown_n":' in row["content"],
    "benches": lambda row: '"shown_n":' not in row["setup"],
}
"""What rows of a table look like, where their types do not tell them from those of another."""
Columns = list[tuple[str, type, bool]]
"""Name, type, and whether it is never missing, of each column of a table."""


_Bulk: TypeAlias = dict[str, dict[int, dict[int, int]]]
"""Numbers of the rows of BULK by table, page, and place on it."""
LOCK_BYTE = 2**30
"""The page of this byte is never used: sqlite.org/fileformat2.html, section 1.4."""
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


def columns_by_table() -> dict[str, Columns]:
    """The columns of each table, in order, as the newest schema has them."""
    db = sqlite3.connect(":memory:")
    try:
        for _, sql in STEPS:
            db.executescript(sql)
        return {
            table: [(row[1], _TYPES[row[2]], bool(row[3])) for row in db.execute(f"PRAGMA table_info({table})")]
            for table in COVERED
            if table != "copied_sweeps"  # no table of rows, but an index
        }
    finally:
        db.close()


def found_in(pages: Pages) -> Found:
    """Every row that is whole, wherever it lies, and what is not whole."""
    found = Found({table: {} for table in COVERED if table not in BULK}, {table: {} for table in BULK})
    known = columns_by_table()
    used: set[int] = set()
    bulk: _Bulk = {table: {} for table in BULK}
    doubtful: list[int] = []
    seen: set[int] = set()
    for number in pages.numbers:
        page = pages.page(number)
        if _begins_as_leaf(page, number):
            used.add(number)
            if hash(page) in seen and cell_places(page, number == 1):
                found.repeated.append(number)
            seen.add(hash(page))
            if not _take_leaf(pages, number, page, known, found, used, bulk):
                doubtful.append(number)
    free, all_free = pages.free()
    free.add(LOCK_BYTE // pages.size + 1)
    rest = [n for n in pages.numbers if n not in used and n not in free]
    inner = {n for n in rest if _is_inner(pages.page(n), n)}
    found.named |= {child for n in inner for child in _children(pages.page(n), n)}
    found.expected = pages.stated or max([pages.count, *found.named])
    found.cut_off = found.expected - len([n for n in pages.numbers if n <= found.expected])
    for number in doubtful + [n for n in rest if n not in inner]:
        loose: _Bulk = {table: {} for table in BULK}
        taken = sum(_take(number, cell, known, found, used, loose) for cell in _loose_cells(pages, number))
        for table, by_page in loose.items():
            listed = bulk[table].get(number, {})
            if more := by_page.get(number, {}).items() - listed.items():  # the page does not say in which order
                bulk[table][number] = dict(sorted([*listed.items(), *more], key=lambda one: one[1]))
        if number in rest and number <= found.expected and not taken:
            free_perhaps = not all_free and number > 1 and number not in found.named and not any(pages.page(number))
            (found.blank if free_perhaps else found.lost_pages).append(number)
    _place_bulk(pages, known, found, bulk)
    found.repeated = [n for n in found.repeated if n not in free]
    found.freed = {table for table in BULK if any(page in free for page, _ in found.places[table].values())}
    found.lost_pages = [n for n in found.lost_pages if n not in used]
    found.blank = [n for n in found.blank if n not in used]
    return found


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


def _take_leaf(
    pages: Pages, number: int, page: bytes, known: dict[str, Columns], found: Found, used: set[int], bulk: _Bulk
) -> bool:
    """Takes the rows a page points to; whether it held nothing else."""
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
        elif not _take(number, cell, known, found, used, bulk):
            found.damaged.append(cell)
            whole = False
    if whole and not accounts_for_all(page, number == 1, cells):
        found.miscounted.append(number)
        whole = False
    return whole


def _take_name(cell: FoundRow, found: Found) -> None:
    """Of the file's own list: a table or an index, and where it begins."""
    kind, name = map(str, cell.values[:2])
    if kind == "table":
        found.listed.add(name)
    if kind in ("table", "index") and isinstance(cell.values[3], int):
        found.roots[name] = cell.values[3]
        found.named.add(cell.values[3])


def _loose_cells(pages: Pages, number: int) -> Iterator[FoundRow]:
    yield from any_cells(pages.page(number), pages.size, pages.page)


def row_at(pages: Pages, table: str, columns: Columns, page: int, place: int) -> Row:
    """A row of BULK that was found here."""
    row = _as_row(table, columns, cell_at(pages.page(page), place, pages.size, pages.page))
    assert row is not None
    return row


def _place_bulk(pages: Pages, known: dict[str, Columns], found: Found, bulk: _Bulk) -> None:
    for table, by_page in bulk.items():

        def is_copy(one: Place, other: Place, table: str = table) -> bool:
            return row_at(pages, table, known[table], *one) == row_at(pages, table, known[table], *other)

        listed = ([(number, (page, place)) for place, number in rows.items()] for page, rows in by_page.items())
        found.places[table] = put_right(listed, is_copy)
        at = found.places[table].items()
        found.misnumbered += sum(by_page[page][place] != number for number, (page, place) in at)


def _take(page: int, cell: FoundRow, known: dict[str, Columns], found: Found, used: set[int], bulk: _Bulk) -> bool:
    """Puts a row where it belongs; False when it belongs nowhere. The first of a number counts."""
    for table, columns in known.items():
        row = _as_row(table, columns, cell)
        if row is not None:
            if table in BULK:
                bulk[table].setdefault(page, {})[cell.place] = cell.number
            else:
                found.rows[table].setdefault(cell.number, row)
            used.update(cell.overflow)
            return True
    return False


def _as_row(table: str, columns: Columns, cell: FoundRow) -> Row | None:
    """The cell as a sound row of this table; None when it is none."""
    if not 2 <= len(cell.values) <= len(columns):
        return None
    values = (*cell.values, *[None] * (len(columns) - len(cell.values)))
    row: Row = {}
    for (name, kind, needed), value in zip(columns, values, strict=True):
        if name == key_of(table):
            if value is not None:
                return None
            value = cell.number
        elif kind is float and isinstance(value, int):
            value = float(value)  # SQLite keeps a whole number as one
        if not _fits(value, name, kind, needed):
            return None
        row[name] = value
    added = list(row)[len(cell.values) :]
    for column in {"crc", "now_crc"} & set(added):
        del row[column]
    if not holds_json(table, row):
        return None
    looks = _LOOKS.get(table)
    return row if is_sound(table, row) and (looks is None or looks(row)) else None


def _fits(value: object, name: str, kind: type, needed: bool) -> bool:
    """Whether a column could hold this value."""
    if not isinstance(value, kind):
        return value is None and not needed
    return not (name.endswith("_utc") and isinstance(value, str) and not _UTC.match(value))


def holds_json(table: str, row: Row) -> bool:
    """Whether what should be JSON in a row is JSON, within bounds."""
    return all(_is_json(row[name]) for name in JSON_COLUMNS.get(table, ()))


def _is_json(text: str) -> bool:
    try:
        from_json(text)
    except ValueError:
        return False
    return True


def _of_sqlite(cell: FoundRow) -> bool:
    """Whether it is a row of the table of tables, or of the list of migrations."""
    values = cell.values
    return (len(values) == 5 and values[0] in ("table", "index", "trigger", "view")) or "foreaft" in values
