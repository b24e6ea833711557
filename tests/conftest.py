"""Settings for all tests."""

import gc
import os
from pathlib import Path

import pytest
from hypothesis import settings

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the commands have it; with several workers it matters more

settings.register_profile("foreaft", deadline=None, derandomize=True, database=None)
settings.register_profile("fresh", deadline=None, database=None, print_blob=True)
settings.load_profile("foreaft")

WAITS = Path(__file__).parent / "test_package.py"
"""Waits half a minute for pip. Begun last, the other workers would wait for it; begun first, they compute meanwhile."""


@pytest.hookimpl(wrapper=True)
def pytest_collection():
    """What is loaded to collect the tests stays until the end: to look through it again and again for garbage, while it
    grows and then during the tests, would take each worker three seconds in a hundred."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.freeze()
        gc.enable()


def pytest_collection_modifyitems(items):
    """That file first, all others in their own order."""
    items.sort(key=lambda item: item.path != WAITS)
