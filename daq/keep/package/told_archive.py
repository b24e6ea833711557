"""The tests of an archive for a panel: every exported sweep as `foreaft archive` computed it, riders by pseudonym.

A workshop is the folder its export lies in, else the name of its jig. An export says when a sweep began in UTC, not
what the workshop's clock showed: where the day ends there is taken from the hours in which nobody rode.
"""

from __future__ import annotations

import datetime
import json
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path, PurePosixPath
from typing import Any

from daq.keep.bounded import MIB, read_text
from daq.keep.clients.told import Gathered, NotTold, told_by
from daq.sweep.workshop import KnownTest

MOST_BYTES = 512 * MIB
"""Of a journal: 100,000 sweeps of 5 kB."""
AGAIN = "compute the archive again into a new folder"
NIGHT_H = 3.0
"""Local time of the middle of the night, by which the workshop's clock is guessed."""
DAY_H = 24.0


def told_by_archive(out: Path, *, simulated: bool = False) -> Gathered:
    """The tests of an archive's folder `out`. ValueError when no archive was computed there, or by an older program."""
    told, left_out = [], {}
    verdicts: Counter[str] = Counter()
    failed: Counter[str] = Counter()
    rows = [one for one in _rows(out / "journal.jsonl") if one[1].get("simulated") is simulated]
    ahead = _ahead_of_utc(rows)
    for sweep, row in rows:
        try:
            if "verdict" in row:
                verdicts[row["verdict"]] += 1
            failed.update(one["test"] for one in row.get("validity", ()) if one["result"] == "failed")
            told.append(_told(sweep, row, ahead[_workshop(sweep)]))
        except NotTold as why:
            left_out[sweep] = str(why)
        except (AttributeError, KeyError, OverflowError, TypeError, ValueError) as error:
            raise ValueError(f"{out}: the row of {sweep} is none of this program's: {AGAIN}") from error
    return Gathered(tuple(told), left_out, verdicts, failed)


def _told(sweep: str, row: Mapping[str, Any], ahead: datetime.timedelta) -> KnownTest:
    if row["coarse"]:
        raise NotTold("it was exported with its date as a month: on which day it was ridden is not known")
    if row.get("no_answer"):
        raise NotTold(f"it has no answer: {row['no_answer']}")
    return told_by(
        sweep,
        row if "verdict" in row else {},
        rider=row["rider"] or "",
        begun=_begun(row) + ahead,
        gradient_pct=float(row["gradient_pct"]),
        protocol=row["protocol"],
        rig=row["rig_name"],
        workshop=_workshop(sweep),
    )


def _workshop(sweep: str) -> str:
    folder = PurePosixPath(sweep).parent
    return "" if folder == PurePosixPath() else str(folder)


def _begun(row: Mapping[str, Any]) -> datetime.datetime:
    return datetime.datetime.fromisoformat(row["begun_utc"])


def _ahead_of_utc(rows: Sequence[tuple[str, Mapping[str, Any]]]) -> dict[str, datetime.timedelta]:
    """How far each workshop's clock is ahead of UTC, as far as the hours ridden tell."""
    hours: dict[str, list[float]] = defaultdict(list)
    for sweep, row in rows:
        begun = _begun(row).astimezone(datetime.UTC)
        hours[_workshop(sweep)].append(begun.hour + begun.minute / 60.0)
    return {name: datetime.timedelta(hours=_offset_h(each)) for name, each in hours.items()}


def _offset_h(hours: Sequence[float]) -> float:
    """Puts the middle of the longest time of the day in which no sweep began at night."""
    sorted_h = sorted(hours)
    nexts_h = [*sorted_h[1:], sorted_h[0] + DAY_H]
    gap_h, since_h = max((after - before, before) for before, after in zip(sorted_h, nexts_h, strict=True))
    return (NIGHT_H - since_h - 0.5 * gap_h + 0.5 * DAY_H) % DAY_H - 0.5 * DAY_H


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
            if missing := {"begun_utc", "coarse", "rider", "rig_name"} - row.keys():
                raise KeyError(*missing)
            _begun(row).astimezone(datetime.UTC)
            latest[str(entry["sweep"])] = row
        except (ValueError, KeyError, OverflowError, TypeError) as error:
            raise ValueError(f"{journal}: line {number} is none of this program's: {AGAIN}") from error
    yield from sorted(latest.items())
