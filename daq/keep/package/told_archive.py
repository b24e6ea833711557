"""The tests of an archive for a panel: every exported sweep as `foreaft archive` computed it, riders by pseudonym."""

from __future__ import annotations

import datetime
import json
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from daq.keep.bounded import MIB, read_text
from daq.keep.clients.told import Gathered, NotTold, told_by

MOST_BYTES = 512 * MIB
"""Of a journal: 100,000 sweeps of 5 kB."""


def told_by_archive(out: Path, *, simulated: bool = False) -> Gathered:
    """The tests of an archive's folder `out`. ValueError when no archive was computed there, or by an older program."""
    told, left_out = [], {}
    verdicts: Counter[str] = Counter()
    failed: Counter[str] = Counter()
    for sweep, row in _rows(out / "journal.jsonl"):
        if row.get("simulated") is not simulated:
            continue
        if "verdict" in row:
            verdicts[row["verdict"]] += 1
        failed.update(one["test"] for one in row.get("validity", ()) if one["result"] == "failed")
        try:
            told.append(
                told_by(
                    sweep,
                    row if "verdict" in row else {},
                    rider=row["rider"] or "",
                    begun=datetime.datetime.fromisoformat(row["begun_utc"]),
                    gradient_pct=row["gradient_pct"],
                    protocol=row["protocol"],
                    rig=row["rig_name"],
                )
            )
        except NotTold as why:
            left_out[sweep] = str(why)
    return Gathered(tuple(told), left_out, verdicts, failed)


def _rows(journal: Path) -> Iterator[tuple[str, dict[str, Any]]]:
    """(sweep, row) of the last time each was computed."""
    try:
        text = read_text(journal, MOST_BYTES)
    except OSError as error:
        raise ValueError(f"{journal.parent} holds no computed archive: run foreaft archive first") from error
    latest: dict[str, dict[str, Any]] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        try:
            entry = json.loads(line)
            (row,) = entry["rows"]
            if missing := {"begun_utc", "rider", "rig_name"} - row.keys():
                raise KeyError(*missing)
            latest[entry["sweep"]] = row
        except (ValueError, KeyError, TypeError) as error:
            raise ValueError(
                f"{journal}: line {number} is none of this program's: compute the archive again into a new folder"
            ) from error
    yield from sorted(latest.items())
