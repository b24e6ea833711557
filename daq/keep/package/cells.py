"""Text in a cell of a CSV, so that no spreadsheet takes it for a formula, and back.

A cell that begins with one of = + - @, a tab or a carriage return may be computed when the table is opened (OWASP, CSV
Injection; the full-width forms count as well in some programs). Such text gets a leading apostrophe, which makes those
programs show it as text; a text that begins with an apostrophe gets another one, so that reading it back is exact.
Numbers are unchanged.
"""

from __future__ import annotations

_COMPUTED = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠", "'")


def harmless_cell(text: str) -> str:
    """The text as it is written."""
    return "'" + text if text.startswith(_COMPUTED) else text


def plain_cell(cell: str) -> str:
    """The text that was written so."""
    return cell[1:] if cell.startswith("'") else cell
