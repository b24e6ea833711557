"""Where the store lies when nobody says otherwise."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

STORE_NAME = "store.sqlite"


def default_store_path(environ: Mapping[str, str], home: Path) -> Path:
    """The store's path from the environment and the home folder.

    As a system service: the folder systemd made for it (StateDirectory=, systemd.exec(5)). For a person: the data
    folder of the XDG Base Directory specification 0.8, which says to ignore a relative XDG_DATA_HOME.
    """
    service = environ.get("STATE_DIRECTORY", "").split(":")[0]
    if service:
        return Path(service) / STORE_NAME
    chosen = Path(environ.get("XDG_DATA_HOME", ""))
    base = chosen if chosen.is_absolute() else home / ".local" / "share"
    return base / "foreaft" / STORE_NAME
