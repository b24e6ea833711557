"""`foreaft sweeps`: what is in the store."""

from __future__ import annotations

from pathlib import Path

import click

from daq.cli.telling import UNUSABLE, fail, print_json, say


def store_path(chosen: Path | None) -> Path:
    """The store asked for, or the one where stores lie when nobody says otherwise."""
    import os

    from daq.keep.paths import default_store_path

    return chosen or default_store_path(os.environ, Path.home())


@click.command()
@click.option("--store", type=click.Path(dir_okay=False, path_type=Path), help="Store file.")
@click.option("--json", "as_json", is_flag=True)
def sweeps(store: Path | None, as_json: bool) -> None:
    """List the stored sweeps and their verdicts."""
    from daq.keep.errors import StoreError
    from daq.keep.store import Store

    path = store_path(store)
    if not path.exists():
        fail(UNUSABLE, f"no store at {path}; name one with --store")
    try:
        with Store.open(path, write=False) as opened:
            rows = []
            for sweep in opened.sweeps():
                found = opened.results(sweep.id, "onset")
                answer = found[-1].content if found else {}
                rows.append(
                    {
                        "sweep": sweep.id,
                        "session": sweep.session_id,
                        "begun_utc": opened.session(sweep.session_id).started_utc,
                        "simulated": opened.session(sweep.session_id).simulated,
                        "state": sweep.state,
                        "verdict": answer.get("verdict"),
                        "onset_mm": answer.get("onset_mm"),
                        "interval_95_mm": answer.get("interval_95_mm"),
                    }
                )
    except StoreError as error:
        fail(UNUSABLE, error)
    if as_json:
        print_json(rows)
    for row in [] if as_json else rows:
        say("  ".join(f"{name} {value}" for name, value in row.items() if value is not None))
