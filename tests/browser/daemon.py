"""The real daemon for a browser: `foreaft demo` as its own process, at a high pace, on a free port."""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from typing import IO, Any


@dataclass(frozen=True)
class Daemon:
    """A running demo and where its page is."""

    process: subprocess.Popen[str]
    url: str

    def answer(self) -> dict[str, Any]:
        """What the demo prints when its sweep is done; waits for it."""
        assert self.process.stdout is not None
        return json.loads(_object(self.process.stdout))


@contextlib.contextmanager
def demo(*words: str) -> Iterator[Daemon]:
    """`foreaft demo --json --port 0` with these words added; ended when the block is left."""
    command = [sys.executable, "-m", "daq.cli", "demo", "--json", "--port", "0", *words]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stderr is not None
        url = next(line.split()[1] for line in process.stderr if line.startswith("dashboard: "))
        try:
            yield Daemon(process, url)
        finally:
            process.terminate()
            process.communicate(timeout=60)


def _object(lines: IO[str]) -> str:
    """One indented JSON object."""
    text = ""
    for line in lines:
        text += line
        if line.rstrip() == "}":
            return text
    raise AssertionError(f"expected a JSON object, got {text!r}")
