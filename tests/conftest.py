"""Settings for all tests."""

import os
from pathlib import Path

from hypothesis import settings

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the commands have it; with several workers it matters more

settings.register_profile("foreaft", deadline=None, derandomize=True, database=None)
settings.register_profile("fresh", deadline=None, database=None, print_blob=True)
settings.load_profile("foreaft")

WAITS = Path(__file__).parent / "test_package.py"
"""Waits half a minute for pip. Begun last, the other workers would wait for it; begun first, they compute meanwhile."""


def pytest_collection_modifyitems(items):
    """That file first, all others in their own order."""
    items.sort(key=lambda item: item.path != WAITS)
