"""Analyses that go wrong in various ways; in a module of their own so that worker processes can import them."""

import os
from pathlib import Path

from daq.keep.package.analyses import step_means


def touching(folder: Path) -> list[dict[str, object]]:
    """Step means, leaving a mark each time it is called."""
    with (folder.parent.parent / "calls").open("a") as calls:
        calls.write(folder.name + "\n")
    return step_means(folder)


def refusing_one(folder: Path) -> list[dict[str, object]]:
    """Fails on the third sweep."""
    if folder.name.endswith("000003"):
        raise ValueError("no strokes worth the name")
    return step_means(folder)


def dying_on_one(folder: Path) -> list[dict[str, object]]:
    """Takes its process down with the third sweep."""
    if folder.name.endswith("000003"):
        os._exit(9)
    return step_means(folder)


def mixed(folder: Path) -> list[dict[str, object]]:
    """Rows of every type, with gaps."""
    number = int(folder.name[-1])
    rows: list[dict[str, object]] = [{"n": number, "x": number / 3, "ok": True, "why": None, "list": [1, number]}]
    return rows * (number != 2)
