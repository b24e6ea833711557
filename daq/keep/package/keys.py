"""How the tables of an exported sweep are related: the key of a row, and what a column refers to. Pure. The version of
a table changes when a column is added, removed or changes its meaning; the package's, when a table does.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

FORMAT = "1.4.0"
"""Version of all tables together, by semver.org: columns that were added raise its middle number."""
VERSIONS = {"onset": 3, "steps": 4, "all_steps": 4}
"""Versions of tables that have changed since their first, 1."""


@dataclass(frozen=True, slots=True)
class TableKeys:
    """Columns that form the key; and each column that refers to the column with the same name in another table."""

    primary: tuple[str, ...] = ()
    """Empty: rows have no key but their position."""
    to: tuple[tuple[str, str], ...] = ()
    """(column, table)."""


OF_SWEEP = (("sweep", "sweep"),)
_KEYS = {
    "sweep": TableKeys(("sweep",), (("calibration", "calibrations"),)),
    "calibrations": TableKeys(("sweep", "calibration"), OF_SWEEP),
    "channels": TableKeys(("sweep", "source", "count"), OF_SWEEP),
    "steps": TableKeys(("sweep", "step"), OF_SWEEP),
    "strokes": TableKeys(("sweep", "stroke"), (*OF_SWEEP, ("step", "steps"))),
    "exclusions": TableKeys(("sweep", "stroke"), (*OF_SWEEP, ("stroke", "strokes"))),
    "loads": TableKeys((), (*OF_SWEEP, ("step", "steps"))),
    "onset": TableKeys(("sweep",), OF_SWEEP),
    "validity": TableKeys(("sweep", "test"), OF_SWEEP),
    "clocks": TableKeys(("sweep", "source"), OF_SWEEP),
    "methods": TableKeys(("sweep", "part"), OF_SWEEP),
    "sweeps": TableKeys(("sweep",)),
    "all_steps": TableKeys(("sweep", "step"), (("sweep", "sweeps"),)),
}
"""The tables not named here, of what was received, have no key: two items may arrive in the same microsecond."""


def schema_keys(table: str) -> dict[str, Any]:
    """The properties of a Table Schema (datapackage.org, version 2) that say so; its own version with them."""
    keys = _KEYS.get(table, TableKeys((), OF_SWEEP))
    to = [{"fields": [column], "reference": {"resource": other, "fields": [column]}} for column, other in keys.to]
    return {
        "version": VERSIONS.get("raw" if table.startswith("raw_") else table, 1),
        **({"primaryKey": list(keys.primary)} if keys.primary else {}),
        **({"foreignKeys": to} if to else {}),
    }
