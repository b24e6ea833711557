"""Damage to a store's file, and what is left after it."""

from pathlib import Path

import numpy as np
import pytest

from daq.items import LOST, Event
from daq.keep.errors import StoreDamaged, StoreError
from daq.keep.rescue.salvage import Salvaged, salvage
from daq.keep.store import Store
from daq.keep.store.verify import verify
from daq.values import Samples
from tests.keep.jig import recorded


def made(path: Path, seconds: int) -> bytes:
    """A closed store with one session; its bytes."""
    with Store.open(path) as store:
        recorded(store, seconds)
    return path.read_bytes()


def readable(path: Path) -> tuple[list[Samples], list[str]]:
    """The scans that can be read, and the complaints."""
    with Store.open(path, write=False) as store:
        items = list(store.read_items(1, gaps=True))
    complaints = [item.content["said"] for item in items if isinstance(item, Event) and item.kind == LOST]
    return [item for item in items if isinstance(item, Samples)], complaints


def truncate(path: Path, content: bytes, length: int, target: Path) -> Salvaged | None:
    """Cuts the file, expects one sentence, and salvages. None when there was nothing left to salvage."""
    path.write_bytes(content[:length])
    with pytest.raises(StoreDamaged) as refusal:
        Store.open(path)
    check_sentence(refusal.value, path)
    try:
        return salvage(path, target)
    except StoreError as error:
        check_sentence(error, path)
        return None


def check_sentence(error: StoreError, path: Path) -> None:
    """One line that names the file."""
    assert "\n" not in str(error)
    assert str(path) in str(error)


def hit_anywhere(path: Path, content: bytes, rng: np.random.Generator) -> bool:
    """Changes a few bytes somewhere; True when that was noticed."""
    hit = bytearray(content)
    place = int(rng.integers(100, len(content) - 8))
    hit[place : place + 8] = rng.bytes(8)
    path.write_bytes(hit)
    try:
        with Store.open(path, write=False) as store:
            return bool(verify(store).problems)
    except StoreError as error:
        check_sentence(error, path)
        return True
