"""Exports that many tests read and none changes, made once; whoever changes one takes a copy."""

import shutil

import pytest

from daq.keep.package.export import export
from daq.keep.package.terms import FREE
from daq.keep.store import Store
from tests.faults.rescue import make
from tests.keep.sweeps import computed, stored

FORMS = ("parquet", "csv.gz")


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "store.sqlite") as opened:
        yield opened


@pytest.fixture(scope="session")
def packages(tmp_path_factory):
    """The folder of one exported sweep, in each form."""
    folder = tmp_path_factory.mktemp("packages")
    with Store.open(folder / "store.sqlite") as opened:
        sweep_id = stored(opened)
        return {
            form: export(opened, [sweep_id], folder / form, computed, purpose="client", form=form, licence=FREE)[0]
            for form in FORMS
        }


@pytest.fixture(scope="session")
def ridden_store(tmp_path_factory):
    """A closed store of two sweeps that were ridden to an onset, by one client."""
    path = tmp_path_factory.mktemp("ridden") / "store.sqlite"
    make(path, 2)
    return path


@pytest.fixture
def own_ridden_store(ridden_store, tmp_path):
    """A copy of it to change."""
    return shutil.copy(ridden_store, tmp_path / "ridden.sqlite")
