"""The passes of the screens that were let in, a file each: a pass holds as long as its file is there.

So `foreaft access` ends one while the daemon runs, and a daemon that is started again knows which it has given.
"""

from __future__ import annotations

import contextlib
import json
import os
import secrets
from dataclasses import asdict, dataclass
from pathlib import Path

from daq.keep.bounded import from_json, read_text
from daq.live.web.access import Role

MOST = 200
"""Given at once; another one ends the oldest."""
MOST_BYTES = 4096


@dataclass(frozen=True, slots=True)
class Given:
    """One pass: a browser that has shown a key."""

    number: str
    role: str
    since_utc: str
    address: str


class AllEnded(Exception):
    """All passes were ended while the daemon ran: nobody is let in any more."""


class Passes:
    """folder: for this alone; without it nobody is let in, so taking it away ends all at once."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._unkept: dict[str, Given] = {}
        """Of which the disk took no file: a full one keeps no fitter out. They end with the daemon."""

    def open(self) -> None:
        """From now on passes are given. OSError."""
        self._folder.mkdir(parents=True, exist_ok=True, mode=0o700)

    def give(self, role: Role, *, since_utc: str, address: str) -> str:
        """The number of a new pass. AllEnded."""
        if not self._folder.is_dir():
            raise AllEnded
        one = Given(secrets.token_hex(8), str(role), since_utc, address)
        path = self._folder / one.number
        try:
            with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
                json.dump(asdict(one), file)
        except OSError:
            path.unlink(missing_ok=True)
            self._unkept[one.number] = one
        for old in self.given()[:-MOST]:
            self.end(old.number)
        return one.number

    def holds(self, number: str) -> bool:
        """Whether this pass, which the daemon has sealed, was not ended."""
        return self._folder.is_dir() and (number in self._unkept or (self._folder / number).is_file())

    def given(self) -> list[Given]:
        """Those that hold, the oldest first."""
        found = list(self._unkept.values())
        for path in self._folder.glob("*"):
            with contextlib.suppress(OSError, ValueError, TypeError):
                found.append(Given(**from_json(read_text(path, MOST_BYTES))))
        return sorted(found, key=lambda one: (one.since_utc, one.number))

    def end(self, number: str) -> bool:
        """End one; whether there was such a one."""
        if number not in {one.number for one in self.given()}:
            return False
        if self._unkept.pop(number, None) is None:
            (self._folder / number).unlink(missing_ok=True)
        return True

    def end_all(self) -> None:
        """End all, those of which there is no file too, and let nobody in until `open`."""
        self._unkept = {}
        for path in self._folder.glob("*"):
            path.unlink(missing_ok=True)
        with contextlib.suppress(FileNotFoundError):
            self._folder.rmdir()
