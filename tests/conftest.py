"""Settings for all tests."""

from hypothesis import settings

settings.register_profile("foreaft", deadline=None, derandomize=True, database=None)
settings.register_profile("fresh", deadline=None, database=None, print_blob=True)
settings.load_profile("foreaft")
