from pathlib import Path

import pytest

from daq.keep.paths import default_store_path

HOME = Path("/home/ada")


@pytest.mark.parametrize(
    ("environ", "expected"),
    [
        # XDG Base Directory specification 0.8: default $HOME/.local/share; relative paths are invalid and ignored.
        ({}, "/home/ada/.local/share/foreaft/store.sqlite"),
        ({"XDG_DATA_HOME": ""}, "/home/ada/.local/share/foreaft/store.sqlite"),
        ({"XDG_DATA_HOME": "/srv/records"}, "/srv/records/foreaft/store.sqlite"),
        ({"XDG_DATA_HOME": "records"}, "/home/ada/.local/share/foreaft/store.sqlite"),
        # systemd.exec(5), StateDirectory=: $STATE_DIRECTORY holds the absolute path, several separated by colons.
        ({"STATE_DIRECTORY": "/var/lib/foreaft"}, "/var/lib/foreaft/store.sqlite"),
        ({"STATE_DIRECTORY": "/var/lib/foreaft:/var/lib/b", "XDG_DATA_HOME": "/x"}, "/var/lib/foreaft/store.sqlite"),
    ],
)
def test_the_store_lies_where_the_standards_say(environ, expected):
    assert default_store_path(environ, HOME) == Path(expected)
