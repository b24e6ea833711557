"""Settings for all tests."""

import os

from hypothesis import settings

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the commands have it; with several workers it matters more

settings.register_profile("foreaft", deadline=None, derandomize=True, database=None)
settings.register_profile("fresh", deadline=None, database=None, print_blob=True)
settings.load_profile("foreaft")
