"""The goals of the confounds benchmark, as figures of its table."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from tests.benchmarks.confound_lines import (
    CLEAN,
    OTHER,
    OTHER_WITHOUT,
    UNSEEN,
    WITH_ONSET,
    WITHOUT_ONSET,
)
from tests.benchmarks.confound_rides import ORDERS, Line
from tests.benchmarks.goals import Figure

Found = dict[tuple[str, str, str], dict[str, float]]
"""By line, order and way of answering."""
FALSE = 0.02
EXPECTED = 0.05
COVERS = 0.93
CURED = 0.9
FEWEST_NAMED = 20
"""Fewer named onsets tell no coverage."""
FEWEST_UNDECIDED = 10
WITHHELD = 0.05
RMSE_LOST = 0.05
NAMING_LOST = 0.05
ANSWER_MS = 20.0
BOTH_WAYS = "out and back"


def figures(found: Found, lines: Sequence[Line]) -> list[Figure]:
    """Every figure that has a goal, of the lines that were ridden."""
    return [
        *_false(found, [line for line in lines if line in (*WITHOUT_ONSET, *OTHER_WITHOUT)]),
        *_covered(found, [line for line in lines if line in (*WITH_ONSET, *CLEAN, *OTHER)]),
        *_cured(found, [line for line in lines if line in (*WITHOUT_ONSET, *WITH_ONSET, *UNSEEN)]),
        *_clean(found, [line for line in lines if line in CLEAN and (line.name, BOTH_WAYS, "judged") in found]),
        *_twice(found),
        ("one answer, slowest line's median, ms of processor", _slowest_ms(found, lines), "at most", ANSWER_MS),
    ]


def _rows(found: Found, lines: Iterable[Line]) -> list[tuple[str, dict[str, float]]]:
    return [
        (f"{line.name}, {order}", found[line.name, order, "judged"])
        for line in lines
        for order in ORDERS
        if (line.name, order, "judged") in found
    ]


def _false(found: Found, lines: Iterable[Line]) -> list[Figure]:
    return [
        (f"named without an onset: {name}", each["named"], "at most", EXPECTED if "expect" in name else FALSE)
        for name, each in _rows(found, lines)
    ]


def _covered(found: Found, lines: Iterable[Line]) -> list[Figure]:
    return [
        (f"covered: {name}", each["covers"], "at least", COVERS)
        for name, each in _rows(found, lines)
        if each["named"] * each["n"] >= FEWEST_NAMED and not np.isnan(each["covers"])
    ]


def _cured(found: Found, lines: Iterable[Line]) -> list[Figure]:
    return [
        (f"right cure: {name}", each["cured"], "at least", CURED)
        for name, each in _rows(found, lines)
        if not np.isnan(each["cured"]) and each["undecided"] * each["n"] >= FEWEST_UNDECIDED
    ]


def _clean(found: Found, lines: Iterable[Line]) -> list[Figure]:
    """Out and back, what the tests cost and what the model gains: judged against plain, and plain against before."""
    figures: list[Figure] = []
    for line in lines:
        judged, plain, before = (found[line.name, BOTH_WAYS, way] for way in ("judged", "plain", "before"))
        decided = {way: 1.0 - found[line.name, BOTH_WAYS, way]["undecided"] for way in ("judged", "plain", "before")}
        withheld = decided["plain"] - decided["judged"]
        figures.append((f"withheld by the tests: {line.name}", withheld, "at most", WITHHELD))
        if line.kind == "hinge":
            if plain.get("both", 0.0) >= FEWEST_NAMED:
                lost = plain["rmse_over_before"]
                figures.append(
                    (f"RMSE over before, of {plain['both']:.0f} both name: {line.name}", lost, "at most", 1 + RMSE_LOST)
                )
            figures.append((f"naming lost: {line.name}", before["named"] - judged["named"], "at most", NAMING_LOST))
        else:
            figures.append((f"named without an onset: {line.name}", judged["named"], "at most", FALSE))
    return figures


def _twice(found: Found) -> list[Figure]:
    """Verdicts on level and straight riders, over all of them together: on the level ones alone, the answer before gave
    more than half, which nothing doubles.
    """
    level = [line.name for line in CLEAN if line.kind != "hinge" and not line.first_again]

    def verdicts(way: str) -> float:
        return sum(1.0 - found[name, BOTH_WAYS, way]["undecided"] for name in level)

    if not all((name, BOTH_WAYS, "judged") in found for name in level):
        return []
    return [
        ("verdicts over before, level and straight riders", verdicts("judged") / verdicts("before"), "at least", 2.0)
    ]


def _slowest_ms(found: Found, lines: Iterable[Line]) -> float:
    return float(np.nanmax([each["ms"] for _, each in _rows(found, lines)]))
