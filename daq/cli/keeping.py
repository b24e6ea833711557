"""Commands around the store: verify, backup, restore, salvage, import, forget, hand-over."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from daq.cli.files import calibration_in
from daq.cli.stored import a_store, opened, store_errors, store_path
from daq.cli.telling import REFUSED, UNUSABLE, fail, json_flag, print_json, say, tell
from daq.words import counted

CHECK_FAILED = 1


@contextmanager
def bar(label: str) -> Iterator[Callable[[int, int], None]]:
    """A progress bar on standard error, for work that reports (done, all)."""

    with click.progressbar(length=1, label=label, file=sys.stderr) as shown:

        def report(done: int, everything: int) -> None:
            shown.length = max(everything, 1)
            shown.update(done - shown.pos)

        yield report


@click.command()
@a_store
@json_flag
def verify(store: Path | None, as_json: bool) -> None:
    """Read every chunk of the store, check its checksum, and report what is damaged."""
    from daq.keep.store.verify import verify as verified

    with opened(store) as open_store, bar("reading") as progress:
        found = verified(open_store, progress)
    if as_json:
        print_json({"chunks": found.chunks, "scans": found.scans, "problems": list(found.problems)})
    else:
        say(f"{counted(found.chunks, 'chunk')}, {counted(found.scans, 'scan')}")
        say("\n".join(found.problems) if found.problems else "all whole")
    raise SystemExit(CHECK_FAILED if found.problems else 0)


@click.command()
@click.argument("target", type=click.Path(dir_okay=False, path_type=Path))
@a_store
def backup(target: Path, store: Path | None) -> None:
    """Copy the store to the new file TARGET, even while it is in use, and read the copy back."""
    from daq.keep.store.backup import back_up

    with opened(store) as open_store, bar("copying") as progress:
        found = back_up(open_store, target, progress)
    tell(f"{target}: {counted(found.scans, 'scan')} read back, all whole")


@click.command()
@click.argument("source", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@a_store
def restore(source: Path, store: Path | None) -> None:
    """Replace the store with the backup SOURCE; an existing store is set aside, not overwritten."""
    from daq.keep.store.backup import restore as restored

    path, unknown = store_path(store), list[str]()
    with store_errors(), bar("copying") as progress:
        found = restored(source, path, progress, unknown.append)
    for sentence in unknown:
        tell(sentence)
    tell(f"{path}: {counted(found.scans, 'scan')} read back, all whole")


@click.command()
@click.argument("damaged", type=click.Path(dir_okay=False, path_type=Path))
@click.argument("target", type=click.Path(dir_okay=False, path_type=Path))
def salvage(damaged: Path, target: Path) -> None:
    """Copy what is readable in the store DAMAGED into the new store TARGET; DAMAGED is not changed."""
    from daq.keep.again.cut_off import close
    from daq.keep.rescue.salvage import salvage as salvaged
    from daq.keep.store import Store

    with store_errors():
        found = salvaged(damaged, target)
        with Store.open(target) as new:
            for sweep_id in found.rebuilt:
                close(new, sweep_id)
    for sentence in (*found.told, *found.problems):
        tell(sentence)
    if found.problems:
        tell(
            "what is lost may be in a backup (foreaft restore) or an export (foreaft import); sweeps that lack some of "
            "their raw data say so in foreaft sweeps"
        )
    chunks, scans = counted(found.chunks, "chunk"), counted(found.scans, "scan")
    tell(f"{target} holds {chunks} with {scans}, and {counted(found.rows, 'other record')}")
    raise SystemExit(CHECK_FAILED if found.problems else 0)


@click.command("import")
@click.argument("folders", type=click.Path(exists=True, file_okay=False, path_type=Path), nargs=-1, required=True)
@a_store
def import_(folders: tuple[Path, ...], store: Path | None) -> None:
    """Bring exported sweeps back into the store, every file checked against its hash.

    Each of FOLDERS is an exported sweep or a folder of them. The store is created if it does not exist. A sweep that is
    damaged, or already in the store, is reported and left out.
    """
    from daq.keep.errors import StoreDamaged
    from daq.keep.package.datapackage import NAME
    from daq.keep.package.importing import AlreadyThere, import_sweep
    from daq.keep.store import Store

    if not store_path(store).exists():
        with store_errors():
            store_path(store).parent.mkdir(parents=True, exist_ok=True)
            Store.open(store_path(store)).close()
    sweeps = [one for folder in folders for one in sorted(p.parent for p in folder.glob(f"*/{NAME}")) or [folder]]
    damaged = 0
    with opened(store, write=True) as open_store:
        for folder in sweeps:
            try:
                tell(f"{folder}: sweep {import_sweep(open_store, folder)}")
            except (StoreDamaged, AlreadyThere) as error:
                damaged += isinstance(error, StoreDamaged)
                tell(str(error))
    raise SystemExit(UNUSABLE if damaged else 0)


@click.command()
@click.argument("client")
@click.option("--yes", is_flag=True, help="Do it; without this, only say what would be removed.")
@a_store
def forget(client: str, yes: bool, store: Path | None) -> None:
    """Remove the client with this pseudonym: name, consents, visits, sweeps and their raw data.

    Sweeps ridden without a visit or imported under the pseudonym go too.
    """
    from daq.keep.clients.copies import UNREAD
    from daq.keep.clients.forgetting import forget as forgotten
    from daq.keep.clients.forgetting import known_as

    with opened(store, write=yes) as open_store:
        if not yes:
            known, found = known_as(open_store, client)
            if known is not None and known.pseudonym != client.strip().upper():
                tell(f"{client} is joined with {known.pseudonym}, and both would go; foreaft part-clients parts them")
            tell(
                f"{client} has {counted(len(found), 'sweep')}; run the command again with --yes to remove them for good"
            )
            return
        gone = forgotten(open_store, client)
    tell(f"{gone.pseudonym}: removed {counted(gone.sweeps, 'sweep')} and {counted(gone.sessions, 'whole session')}")
    for path in (*gone.backups, *gone.exports):
        tell(f"still holds them, remove it by hand: {path}" + ("" if path.exists() else " (not there now: moved?)"))
    for path in gone.unread:
        tell(f"of exports made from the backup {path}, {UNREAD}")
    if not gone.overwritten:
        tell(
            "another program began to read the store meanwhile: the removed bytes stay in its file until that one is "
            "closed and a command that writes, or the daemon, has used the store"
        )
        raise SystemExit(CHECK_FAILED)


@click.command("hand-over")
@click.argument("client")
@click.argument("folder", type=click.Path(path_type=Path))
@a_store
def hand_over(client: str, folder: Path, store: Path | None) -> None:
    """Write everything kept about the client with this pseudonym into the new FOLDER, for the client."""
    from daq.keep.again.recompute import recompute_stored
    from daq.keep.clients import people
    from daq.keep.package.own_data import hand_over as handed_over

    with opened(store) as open_store:
        made = handed_over(open_store, people.client_called(open_store, client).id, folder, recompute_stored, tell)
    tell("\n".join(str(path) for path in made))


@click.command()
@click.argument("archive", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.argument("out", type=click.Path(file_okay=False, path_type=Path))
@click.option(
    "--calibration", type=click.Path(exists=True, dir_okay=False, path_type=Path), help="Another calibration."
)
@click.option("--method", help="Name and version of the estimator; the newest when left out.")
@click.option("--cluster", help="Address of a Dask scheduler, tcp://...; without it processes on this machine.")
@click.option("--processes", type=click.IntRange(1), help="How many; default: one per core.")
@json_flag
def archive(
    archive: Path,
    out: Path,
    calibration: Path | None,
    method: str | None,
    cluster: str | None,
    processes: int | None,
    as_json: bool,
) -> None:
    """Compute every exported sweep in the folder ARCHIVE again and write the answers as tables into OUT.

    Finished sweeps are not computed again; sweeps that fail are listed and do not stop the others. The columns lost and
    no_answer say what of a sweep's raw is lost, and why it has no answer.
    """
    import functools

    from daq.keep.bounded import MOST_CALIBRATION_BYTES, read_text
    from daq.keep.errors import StoreError
    from daq.keep.json_text import digest
    from daq.keep.package import workers
    from daq.keep.package.archive import analyse
    from daq.keep.package.one_kind import FolderTaken
    from daq.keep.package.recomputed import ONSET_AGAIN, onset_again
    from daq.sweep.onset import METHOD, METHODS

    method = method or METHOD
    if method not in METHODS:
        fail(REFUSED, f"--method: expected one of {', '.join(METHODS)}, got {method}")
    if calibration is not None:
        calibration_in(calibration)
    name = f"{method}+{digest(read_text(calibration, MOST_CALIBRATION_BYTES))[:12]}" if calibration else method
    mapper = workers.cluster(cluster) if cluster else workers.local(processes)
    try:
        with bar("computing") as progress:
            found = analyse(
                archive,
                functools.partial(onset_again, calibration_file=calibration, method=method),
                out,
                method=f"{ONSET_AGAIN}, {name}",
                mapper=mapper,
                progress=progress,
            )
    except FolderTaken as error:
        fail(REFUSED, error)
    except StoreError as error:
        fail(UNUSABLE, error)
    if not found.sweeps:
        fail(UNUSABLE, f"no exported sweep lies in {archive}: give the folder that foreaft export wrote")
    for sweep, error_text in found.failures.items():
        tell(f"{sweep}: {error_text}")
    rows = {sweep: row for sweep in sorted(found.rows) for row in found.rows[sweep]}
    lost = [sweep for sweep, row in rows.items() if row.get("lost")]
    unanswered = {sweep: row["no_answer"] for sweep, row in rows.items() if row.get("no_answer")}
    for sweep, why in unanswered.items():
        tell(f"{sweep}: no answer: {why}")
    tell(f"{found.results}: {len(found.rows)} of {counted(found.sweeps, 'sweep')}, {found.done_before} from before")
    tell(
        f"of these, with lost data (column lost): {len(lost)}; without an answer (column no_answer): {len(unanswered)}"
    )
    if as_json:
        print_json(
            {
                "sweeps": found.sweeps,
                "done_before": found.done_before,
                "failures": dict(found.failures),
                "lost": lost,
                "no_answer": unanswered,
            }
        )
    raise SystemExit(CHECK_FAILED if found.failures else 0)
