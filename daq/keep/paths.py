"""Default places of the store, the keys and the settings."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path

STORE_NAME = "store.sqlite"


def default_store_path(environ: Mapping[str, str], home: Path) -> Path:
    """The store's path from the environment and the home folder.

    As a system service: the folder systemd made for it (StateDirectory=, systemd.exec(5)). For a person: the data
    folder of the XDG Base Directory specification 0.8, which says to ignore a relative XDG_DATA_HOME; on Windows
    LOCALAPPDATA, on macOS ~/Library/Application Support, for everything (their makers' conventions, from memory).
    """
    service = environ.get("STATE_DIRECTORY", "").split(":")[0]
    if service:
        return Path(service) / STORE_NAME
    return _base(environ, "XDG_DATA_HOME", home / ".local" / "share", home) / STORE_NAME


def default_keys_path(environ: Mapping[str, str], home: Path) -> Path:
    """The keys of a daemon on a network: beside the service's store, or in a person's state folder."""
    return default_state_folder(environ, home) / "keys.json"


def default_state_folder(environ: Mapping[str, str], home: Path) -> Path:
    """A service's state folder (StateDirectory=, systemd.exec(5)), or a person's."""
    service = environ.get("STATE_DIRECTORY", "").split(":")[0]
    return Path(service) if service else _base(environ, "XDG_STATE_HOME", home / ".local" / "state", home)


def default_settings_path(environ: Mapping[str, str], home: Path) -> Path:
    """The settings file: of the service (ConfigurationDirectory=, systemd.exec(5)), or in a person's config folder."""
    service = environ.get("CONFIGURATION_DIRECTORY", "").split(":")[0]
    return (Path(service) if service else _base(environ, "XDG_CONFIG_HOME", home / ".config", home)) / "config.toml"


OF_SYSTEM = {
    "win32": ("LOCALAPPDATA", Path("AppData", "Local")),
    "darwin": (None, Path("Library", "Application Support")),
}
"""The variable that names the folder, None: the same as on Linux, and where in the home folder it is without it."""


def _base(environ: Mapping[str, str], name: str, otherwise: Path, home: Path) -> Path:
    if sys.platform in OF_SYSTEM:
        named, inside = OF_SYSTEM[sys.platform]
        name, otherwise = named or name, home / inside
    chosen = Path(environ.get(name, ""))
    return (chosen if chosen.is_absolute() else otherwise) / "foreaft"
