"""Property tests here draw the same examples each run, and no example fails for a busy machine."""

from hypothesis import settings

settings.register_profile("wire", deadline=None, derandomize=True)
settings.load_profile("wire")
