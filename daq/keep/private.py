"""New files, readable by their owner alone: a rider's weight, words or name are health data."""

from __future__ import annotations

import os
from pathlib import Path
from typing import BinaryIO

FILE, FOLDER = 0o600, 0o700
PRIVATELY = getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)
"""How a file is opened beside for reading or writing: not for child processes, and as the bytes it holds."""


def new_file(path: Path) -> BinaryIO:
    """A new file for writing, readable by its owner alone whatever the umask says. FileExistsError when it is there."""
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | PRIVATELY, FILE)
    if hasattr(os, "fchmod"):  # Windows protects a user's files by their folder
        os.fchmod(descriptor, FILE)  # the umask may have removed permissions
    return os.fdopen(descriptor, "wb")


def write_text(path: Path, text: str) -> None:
    """A text file for its owner alone; replaces an existing one."""
    path.unlink(missing_ok=True)
    with new_file(path) as file:
        file.write(text.encode())


def make_folder(path: Path) -> None:
    """The folder, made for its owner alone; one that is there stays as it is."""
    path.mkdir(mode=FOLDER, parents=True, exist_ok=True)
