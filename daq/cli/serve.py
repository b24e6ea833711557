"""`foreaft serve`: the daemon on a real jig."""

from __future__ import annotations

import asyncio
import signal
from pathlib import Path

import click

from daq.cli.records import store_path
from daq.cli.telling import KEYBOARD, MISSING, REFUSED, UNUSABLE, fail, tell


@click.command()
@click.option(
    "--rig", "rig_file", required=True, type=click.Path(dir_okay=False, path_type=Path), help="Rig file, TOML."
)
@click.option("--store", type=click.Path(dir_okay=False, path_type=Path), help="Store file; made when it is not there.")
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen at.")
@click.option("--port", default=8765, show_default=True, type=click.IntRange(0, 65535))
@click.option("--rider", default="R-0000", show_default=True, help="Pseudonym of the rider. Never a name.")
@click.option("--mass-kg", type=click.FloatRange(30, 200), help="Rider's mass as ridden, with shoes and clothes.")
def serve(rig_file: Path, store: Path | None, host: str, port: int, rider: str, mass_kg: float | None) -> None:
    """Run the daemon for the jig that a rig file describes, until Ctrl-C."""
    from daq.keep.errors import StoreError
    from daq.keep.store import Store
    from daq.live.daemon import AddressTaken, listen, url_of
    from daq.live.real import read_rig, serve_rig
    from daq.live.view import Rider
    from daq.rig import RigError

    path = store_path(store)
    try:
        read_rig(rig_file)
        listener = listen(host, port)
        path.parent.mkdir(parents=True, exist_ok=True)
        opened = Store.open(path)
    except RigError as error:
        fail(REFUSED, error)
    except AddressTaken as error:
        fail(MISSING, error)
    except (StoreError, OSError) as error:
        fail(UNUSABLE, error)
    tell(f"dashboard: {url_of(listener)}\nstore: {path}")
    ended_by = asyncio.run(serve_rig(rig_file, opened, Rider(rider, mass_kg), listener))
    raise SystemExit(KEYBOARD if ended_by is signal.SIGINT else 0)
