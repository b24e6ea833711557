"""One writer per store: a lock file beside it, held as long as the process lives. The kernel releases the lock with the
process, however it ends, so a killed daemon leaves nothing to clean up.
"""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from daq.keep.errors import StoreBusy
from daq.keep.private import PRIVATELY

try:
    from fcntl import LOCK_EX, LOCK_NB, flock

    def _hold(descriptor: int) -> None:
        flock(descriptor, LOCK_EX | LOCK_NB)

except ImportError:  # Windows: a byte far behind the number, since a locked byte cannot be read there
    import msvcrt

    def _hold(descriptor: int) -> None:
        os.lseek(descriptor, 1 << 20, os.SEEK_SET)
        msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]


def take_lock(store: Path) -> int:
    """An open file descriptor that holds the writer's lock of this store; close it to let go.

    Raises StoreBusy that names the process holding it, OSError if the lock file cannot be created.
    """
    path = store.with_name(store.name + ".lock")
    # no link: in a folder where others may write, its target would be emptied
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT | PRIVATELY | getattr(os, "O_NOFOLLOW", 0), 0o600)
    try:
        _hold(descriptor)
    except (BlockingIOError, PermissionError) as error:
        os.lseek(descriptor, 0, os.SEEK_SET)
        holder = os.read(descriptor, 32).decode("ascii", "replace").strip() or "unknown"
        os.close(descriptor)
        raise StoreBusy(f"{store} is being written by process {holder}: stop it, or give another store") from error
    with contextlib.suppress(OSError):  # a full disk: the lock works anyway, only the number is missing
        os.ftruncate(descriptor, 0)
        note_holder(descriptor)
    return descriptor


def is_held(store: Path) -> bool:
    """Whether a process writes to this store now. It asks by taking the lock and letting go of it at once."""
    try:
        os.close(take_lock(store))
    except StoreBusy:
        return True
    except OSError:  # where nobody can write
        return False
    return False


def note_holder(descriptor: int) -> None:
    """Write this process's number into the lock file. OSError if its disk takes nothing."""
    os.lseek(descriptor, 0, os.SEEK_SET)
    os.write(descriptor, f"{os.getpid()}\n".encode())
