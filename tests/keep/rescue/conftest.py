"""A store that several files damage, made once."""

import pytest

from tests.faults.rescue import make
from tests.keep.rescue.losses import SWEEPS


@pytest.fixture(scope="session")
def five_sweeps(tmp_path_factory):
    """The bytes of a closed store of so many."""
    return make(tmp_path_factory.mktemp("five") / "store.sqlite", SWEEPS)


@pytest.fixture
def path(tmp_path, five_sweeps):
    """That store, to be damaged; files that damage another one have their own."""
    (tmp_path / "store.sqlite").write_bytes(five_sweeps)
    return tmp_path / "store.sqlite"
