"""The keys on disk, so that screens stay connected across a restart of the daemon. For the owner alone. Until the
machine reboots, their remaining validity does not depend on its time of day.
"""

from __future__ import annotations

import dataclasses
import json
import os
import time
from pathlib import Path

from daq.live.web.access import Keys, new_keys
from daq.live.web.passes import Passes
from daq.live.web.steady import steady_s, this_start


def read_keys(path: Path) -> Keys | None:
    """The stored keys; None if there are no valid ones."""
    try:
        kept = json.loads(path.read_text(encoding="utf-8"))
        if kept.pop("start") != this_start() or not this_start():
            kept["ends_s"] = steady_s() + kept["expires_s"] - time.time()
        keys = Keys(**kept)
        return keys if steady_s() < keys.ends_s else None
    except (OSError, ValueError, TypeError, KeyError, AttributeError):
        return None


def passes_beside(path: Path) -> Passes:
    """The passes given for the keys kept here; where there are keys, passes are given. OSError."""
    passes = Passes(path.with_name("passes"))
    if path.is_file():
        passes.open()
    return passes


def end_all(path: Path) -> None:
    """End the keys kept here and every pass given for them; a daemon that runs lets nobody in any more."""
    passes_beside(path).end_all()
    path.unlink(missing_ok=True)


def keys_at(path: Path, hours: float) -> Keys:
    """The stored keys, or new ones, which are stored. OSError if they cannot be."""
    kept = read_keys(path)
    if kept is not None:
        return kept
    passes_beside(path).end_all()
    made = new_keys(hours, utc_s=time.time(), steady_s=steady_s())
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    partial = path.with_name(f".{path.name}.partial")
    partial.unlink(missing_ok=True)
    with open(os.open(partial, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
        json.dump({**dataclasses.asdict(made), "start": this_start()}, file)
    os.replace(partial, path)
    return made
