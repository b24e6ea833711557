"""The sheets of proofs as files, one each: what a proof is, is computed from its sheet."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from daq.keep.bounded import from_json, read_bytes
from daq.keep.errors import StoreUnwritable, disk_error
from daq.proof.sheet import MOST_BYTES, Sheet

SUFFIX = ".json"


def keep(sheet: Sheet, path: Path) -> None:
    """Write the sheet so that a power failure leaves the previous one or this one. StoreUnwritable; the previous one
    is still there then.
    """
    beside = path.with_name(f".{path.name}.new")
    try:
        with beside.open("w", encoding="utf-8") as file:
            file.write(sheet.model_dump_json(indent=1) + "\n")
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    except OSError as error:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise _unwritable(error, path) from error


def _unwritable(error: OSError, path: Path) -> StoreUnwritable:
    otherwise = f"{path} cannot be written ({error.strerror}): see that folder and disk are in order"
    return disk_error(error, path) or StoreUnwritable(otherwise)


def load(path: Path) -> Sheet:
    """A sheet from its file. OSError; ValueError that says what is wrong with it."""
    return Sheet.model_validate(from_json(read_bytes(path, MOST_BYTES)))


def new_path(folder: Path, begun_utc: str) -> Path:
    """Where the sheet of a proof begun now goes; its folder is made. StoreUnwritable."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise _unwritable(error, folder) from error
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
