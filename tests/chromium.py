"""Which Chromium the browser tests use. Only the standard library: the set-up asks before anything is installed."""

from __future__ import annotations

import shutil
from pathlib import Path

OS_RELEASE = Path("/etc/os-release")
SNAP_ONLY = OS_RELEASE.exists() and "ID=ubuntu" in OS_RELEASE.read_text().splitlines()
"""Ubuntu's Chromium is a snap, which cannot write where the driver keeps its profile: Playwright's own build serves."""
NAMES = ("google-chrome",) if SNAP_ONLY else ("chromium", "chromium-browser", "google-chrome")


def chromium_path() -> str | None:
    """The system's Chromium; None when there is none that can be used, and Playwright's own has to serve."""
    return next(filter(None, map(shutil.which, NAMES)), None)
