"""Single bits of a store's file, flipped: each is noticed, or it is one of those that hold nothing."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

import numpy as np

from daq.keep.errors import StoreError
from daq.keep.store import Store
from daq.keep.store.checksums import COVERED
from daq.keep.store.verify import verify
from tests.faults.harm import check_sentence
from tests.faults.rescue import make


def records(path: Path) -> dict[str, list[Any]]:
    """Every row of every table of records, as SQLite gives them."""
    db = sqlite3.connect(path)
    db.text_factory = bytes
    try:
        return {table: sorted(db.execute(f"SELECT * FROM {table}").fetchall(), key=repr) for table in COVERED}
    finally:
        db.close()


def noticed(path: Path) -> bool:
    """Whether opening or verifying says that something is wrong. Anything but a StoreError gets through."""
    try:
        with Store.open(path, write=False) as store:
            return bool(verify(store).problems)
    except StoreError as error:
        check_sentence(error, path)
        return True


def flip(folder: Path, *, flips: int, seed: int, content: bytes | None = None) -> tuple[int, int]:
    """Flips so many bits, one at a time; (noticed, of those that hold nothing)."""
    path = folder / "store.sqlite"
    content = content or make(path, 1)
    path.write_bytes(content)
    sound = records(path)
    rng = np.random.default_rng(seed)
    found = 0
    for _ in range(flips):
        at, bit = int(rng.integers(len(content))), int(rng.integers(8))
        harmed = bytearray(content)
        harmed[at] ^= 1 << bit
        path.write_bytes(harmed)
        if noticed(path):
            found += 1
        else:
            assert records(path) == sound, f"bit {bit} of byte {at} changed a record and was not noticed"
    return found, flips - found
