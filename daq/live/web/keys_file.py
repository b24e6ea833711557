"""The keys where a daemon that is started again finds them: screens that were let in stay in. For the owner alone."""

from __future__ import annotations

import dataclasses
import json
import os
from pathlib import Path

from daq.live.web.access import Keys, new_keys


def read_keys(path: Path, now_s: float) -> Keys | None:
    """The keys kept here; None when there are none that still hold."""
    try:
        kept = Keys(**json.loads(path.read_text(encoding="utf-8")))
        return kept if now_s < kept.expires_s else None
    except (OSError, ValueError, TypeError):
        return None


def keys_at(path: Path, now_s: float, hours: float) -> Keys:
    """The keys kept here, or new ones, kept from now on. OSError when they cannot be kept."""
    kept = read_keys(path, now_s)
    if kept is not None:
        return kept
    made = new_keys(now_s, hours)
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    partial = path.with_name(f".{path.name}.partial")
    partial.unlink(missing_ok=True)
    with open(os.open(partial, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
        json.dump(dataclasses.asdict(made), file)
    os.replace(partial, path)
    return made
