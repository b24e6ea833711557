"""Figures beside their goals, as the benchmarks of the store and the archive print them."""

from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TypeAlias

Figure: TypeAlias = tuple[str, float, str, float | None]
"""What, its value, "at most" or "at least", the goal; None: a figure without a goal."""


def print_figures(measure: Callable[[Path], list[Figure]]) -> int:
    """Measure in a folder on this disk and print the table. Exit code 1 when a goal is missed."""
    with TemporaryDirectory(dir=".", prefix=".bench") as folder:
        found = measure(Path(folder))
    missed = 0
    for what, value, sense, goal in found:
        reached = goal is None or (value <= goal if sense == "at most" else value >= goal)
        missed += not reached
        told = "" if goal is None else f"  goal {sense} {goal:g}{'' if reached else '   MISSED'}"
        print(f"{what:<62} {value:8.2f}{told}")
    return 1 if missed else 0
