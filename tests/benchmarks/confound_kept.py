"""Sweeps of the confounds benchmark kept in a file, a line each as soon as it is judged: a run goes on where another
ended.

A line holds the sweep (line of the table, order, number), the method, and what each way of answering said. Sweeps of
another method are left alone and not counted; after a change of the tests of validity or of the simulated rider, start
a new file.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from daq.sweep.onset import METHOD
from daq.values import Verdict


@dataclass(frozen=True)
class Tried:
    """What one answer said of one sweep."""

    verdict: Verdict
    onset_mm: float
    truth_mm: float
    low_mm: float
    high_mm: float
    told: str
    first: str
    """What the fitter is told to do first."""
    took_s: float

    @property
    def named(self) -> bool:
        return self.verdict is Verdict.ONSET

    @property
    def covers(self) -> bool:
        return self.low_mm <= self.truth_mm <= self.high_mm


Ways = dict[str, Tried]
"""By way of answering."""
Kept = dict[tuple[str, str], dict[int, Ways]]
"""By line and order, then by number."""


def add(file: Path, line: str, order: str, number: int, ways: Ways) -> None:
    """Appends one sweep."""
    content = {name: {**asdict(one), "verdict": str(one.verdict)} for name, one in ways.items()}
    with file.open("a") as end:
        end.write(json.dumps([METHOD, line, order, number, content]) + "\n")


def read(file: Path) -> Kept:
    """Every sweep of this method that the file holds; a last line that was cut off is not counted."""
    kept: Kept = {}
    for text in file.read_text().splitlines() if file.exists() else ():
        try:
            method, line, order, number, content = json.loads(text)
        except json.JSONDecodeError:
            continue
        if method == METHOD:
            kept.setdefault((line, order), {})[number] = {name: _tried(one) for name, one in content.items()}
    return kept


def missing(kept: Kept, wanted: Mapping[tuple[str, str], int], piece: int = 50) -> list[tuple[str, str, int]]:
    """What is still to be ridden: all lines to one piece, then all to the next, so that they grow alike.

    wanted: sweeps of each line and order.
    """
    return [
        (*ridden, number)
        for begin in range(0, max(wanted.values(), default=0), piece)
        for ridden, sweeps in wanted.items()
        for number in range(begin, min(begin + piece, sweeps))
        if number not in kept.get(ridden, {})
    ]


def _tried(content: dict[str, Any]) -> Tried:
    return Tried(**{**content, "verdict": Verdict(content["verdict"])})
