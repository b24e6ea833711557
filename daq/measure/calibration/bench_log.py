"""A guided calibration as its sequence of steps, so that it can be stored step by step and resumed. Steps are only ever
added: readings stay, whatever is done later. Applying all of them in order to a fresh bench restores it.
"""

from __future__ import annotations

import enum
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any

from daq.measure.calibration.bench_plan import BenchPlan
from daq.measure.calibration.content import lists_of
from daq.measure.calibration.procedure import Bench, Taken, redo, redo_series, skip, stop, take


class StepKind(enum.StrEnum):
    """What the engineer did."""

    TAKE = "take"
    REDO = "redo"
    REDO_SERIES = "redo-series"
    SKIP = "skip"
    STOP = "stop"


def content_of(reading: Taken) -> dict[str, Any]:
    """A reading as the content of its step."""
    return {key: lists_of(value) for key, value in asdict(reading).items()}


def applied(bench: Bench, kind: str, content: Mapping[str, Any]) -> Bench:
    """The bench after one more step. NotNow if it does not fit, ValueError for an unknown step."""
    match StepKind(kind):
        case StepKind.TAKE:
            return take(bench, _taken(content))
        case StepKind.REDO:
            return redo(bench, content["task"])
        case StepKind.REDO_SERIES:
            return redo_series(bench, content["cell"], content["series"])
        case StepKind.SKIP:
            return skip(bench)
        case StepKind.STOP:
            return stop(bench)


def bench_of(plan: BenchPlan, steps: Iterable[tuple[str, Mapping[str, Any]]]) -> Bench:
    """The bench after all its steps."""
    bench = Bench(plan)
    for kind, content in steps:
        bench = applied(bench, kind, content)
    return bench


def _taken(content: Mapping[str, Any]) -> Taken:
    return Taken(
        task=content["task"],
        at_utc=content["at_utc"],
        counts=tuple(content["counts"]),
        sd_counts=tuple(content["sd_counts"]),
        seconds=content["seconds"],
        trace=tuple((t_s, counts) for t_s, counts in content["trace"]),
        accepted_against=tuple(content["accepted_against"]),
    )
