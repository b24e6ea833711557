"""Settings for all tests."""

from hypothesis import settings

settings.register_profile("foreaft", deadline=None, derandomize=True, database=None)
settings.load_profile("foreaft")
