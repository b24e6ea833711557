"""What the commands on the store share: which store, and its errors as one sentence and an exit code."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from daq.cli.telling import UNUSABLE, fail

if TYPE_CHECKING:
    from daq.keep.store import Store

a_store = click.option("--store", type=click.Path(dir_okay=False, path_type=Path), help="Store file.")


def store_path(chosen: Path | None) -> Path:
    """The requested store, or the one at the default path."""
    from daq.keep.paths import default_store_path

    return chosen or default_store_path(os.environ, Path.home())


@contextmanager
def opened(chosen: Path | None, *, write: bool = False) -> Iterator[Store]:
    """The open store; errors inside the block are those of `store_errors`."""
    from daq.keep.store import Store
    from daq.keep.store.replacing import is_there

    path = store_path(chosen)
    if not is_there(path):
        fail(UNUSABLE, f"no store at {path}; name one with --store")
    with store_errors(), Store.open(path, write=write) as store:
        yield store


@contextmanager
def store_errors() -> Iterator[None]:
    """Every StoreError inside the block, and every place that cannot be written, as one sentence and its exit code."""
    from daq.keep.errors import StoreError

    try:
        yield
    except StoreError as error:
        fail(UNUSABLE, error)
    except OSError as error:
        if error.errno in (errno.ENOSPC, errno.EDQUOT):  # raised by a write, which knows no name
            fail(UNUSABLE, "no room left on the disk that was written to: free some and run the command again")
        fail(UNUSABLE, f"{error.filename}: {error.strerror}; choose a place that can be written")
