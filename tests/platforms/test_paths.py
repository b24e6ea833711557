"""Folders by the makers' conventions, from memory; Linux by the XDG Base Directory specification 0.8."""

import sys
from pathlib import Path

import pytest

from daq.keep.paths import default_settings_path, default_store_path

HOME = Path("/home/fitter")


@pytest.mark.parametrize(
    ("system", "environ", "folder"),
    [
        ("linux", {}, HOME / ".local/share/foreaft"),
        ("linux", {"XDG_DATA_HOME": "/data"}, Path("/data/foreaft")),
        ("linux", {"XDG_DATA_HOME": "data"}, HOME / ".local/share/foreaft"),
        ("darwin", {}, HOME / "Library/Application Support/foreaft"),
        ("win32", {}, HOME / "AppData/Local/foreaft"),
        ("win32", {"LOCALAPPDATA": "/c/local"}, Path("/c/local/foreaft")),
        ("win32", {"XDG_DATA_HOME": "/data"}, HOME / "AppData/Local/foreaft"),
    ],
)
def test_the_store_lies_where_the_system_keeps_such_things(monkeypatch, system, environ, folder):
    monkeypatch.setattr(sys, "platform", system)

    assert default_store_path(environ, HOME) == folder / "store.sqlite"


def test_settings_lie_beside_the_store_where_a_system_has_one_folder_for_all(monkeypatch):
    monkeypatch.setattr(sys, "platform", "win32")

    assert default_settings_path({}, HOME).parent == default_store_path({}, HOME).parent
