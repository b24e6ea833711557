"""Sweeps written one after the other: only those that may leave, noted before; a failure is told, the others go on."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from daq.keep.errors import StoreError, StoreReadOnly
from daq.keep.package.permission import Purpose, refuse_unless_agreed
from daq.keep.private import make_folder
from daq.keep.store import Store
from daq.keep.store.file import note_beside
from daq.keep.store.sessions import add_copy


def one_by_one(
    store: Store,
    folder: Path,
    targets: Mapping[int, Path],
    write: Callable[[int, Path], Path],
    describe: Callable[[], None],
    *,
    purpose: Purpose,
    progress: Callable[[int, int], None] | None = None,
    told: Callable[[str], None] | None = None,
) -> list[Path]:
    """What `write` has made of each sweep for its target within the folder; a target that is there stays as it is.

    Raises ExportRefused, before anything is written, when a client has not agreed. What `write` raises of one sweep is
    told, and the others go on; without `told` it is raised. `describe` is called at the end, however it comes. Each
    sweep is read from one snapshot of the store, so a daemon may go on writing to it.
    """
    tell = told or (lambda _: None)
    for sweep_id in targets:
        refuse_unless_agreed(store, store.sweep(sweep_id), purpose)
    note_copy(store, folder, list(targets), tell)  # before, not after: else a kill could leave an unknown copy
    make_folder(folder)
    made = []
    try:
        for done, (sweep_id, target) in enumerate(targets.items(), start=1):
            if target.exists():
                tell(f"{target} is there already and stays as it is")
            else:
                try:
                    with store.snapshot():
                        made.append(write(sweep_id, target))
                except (StoreError, ValueError) as error:
                    if told is None:
                        raise
                    which = "" if str(error).startswith(f"sweep {sweep_id}:") else f"sweep {sweep_id}: "
                    told(f"left out: {which}{error}")
            if progress is not None:
                progress(done, len(targets))
    finally:
        describe()
    return made


def note_copy(
    store: Store, folder: Path, sweep_ids: Sequence[int], tell: Callable[[str], None], client_id: int | None = None
) -> None:
    """Notes in the store that these sweeps are copied to a folder, so that forgetting can name it.

    Beside a running daemon too. A store nobody can write notes nothing, which is told.
    """
    try:
        note_beside(store.path, lambda db: add_copy(db, "export", folder, sweep_ids, client_id=client_id))
    except StoreReadOnly:
        tell(f"{store.path} cannot be written, so this export is not noted in it: forgetting a client will not name it")
