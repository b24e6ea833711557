"""The sheets of proofs as files, one each: what a proof is, is computed from its sheet."""

from __future__ import annotations

import os
from pathlib import Path

from daq.keep.bounded import from_json, read_bytes
from daq.proof.sheet import MOST_BYTES, Sheet

SUFFIX = ".json"


def keep(sheet: Sheet, path: Path) -> None:
    """Write the sheet so that a power failure leaves the previous one or this one. OSError."""
    beside = path.with_name(f".{path.name}.new")
    with beside.open("w", encoding="utf-8") as file:
        file.write(sheet.model_dump_json(indent=1) + "\n")
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)


def load(path: Path) -> Sheet:
    """A sheet from its file. OSError; ValueError that says what is wrong with it."""
    return Sheet.model_validate(from_json(read_bytes(path, MOST_BYTES)))


def new_path(folder: Path, begun_utc: str) -> Path:
    """Where the sheet of a proof begun now goes; its folder is made. OSError."""
    folder.mkdir(parents=True, exist_ok=True)
    stem = "proof-" + begun_utc.partition("+")[0].translate(str.maketrans("", "", "-:"))
    taken = {path.stem for path in folder.glob(f"proof-*{SUFFIX}")}
    number = next(i for i in range(1, len(taken) + 2) if _numbered(stem, i) not in taken)
    return folder / f"{_numbered(stem, number)}{SUFFIX}"


def kept(folder: Path) -> dict[str, Sheet]:
    """The sheets of a folder by name, newest first; a file that is none is left out."""
    found = {}
    for path in sorted(folder.glob(f"*{SUFFIX}")):
        try:
            found[path.stem] = load(path)
        except (OSError, ValueError):
            continue
    return dict(sorted(found.items(), key=lambda one: one[1].begun_utc, reverse=True))


def _numbered(stem: str, number: int) -> str:
    return stem if number == 1 else f"{stem}-{number}"
