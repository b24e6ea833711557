"""`foreaft export`: sweeps as a data package."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from daq.cli.keeping import CHECK_FAILED, bar
from daq.cli.stored import a_store, opened
from daq.cli.telling import REFUSED, fail, tell
from daq.keep.package.terms import CLOSED, FREE, LICENCES, contributor


@click.command()
@click.argument("sweeps", type=int, nargs=-1)
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path))
@click.option("--all", "everything", is_flag=True, help="All finished sweeps that may be exported.")
@click.option("--for", "purpose", type=click.Choice(["research", "client"]), default="research", show_default=True)
@click.option(
    "--form", type=click.Choice(["parquet", "csv.gz"]), help="Default: Parquet if pyarrow is installed, otherwise CSV."
)
@click.option(
    "--licence",
    type=click.Choice(list(LICENCES)),
    help="Terms of use. Simulated sweeps are CC0-1.0 unless said otherwise, others other-closed: a rider's consent to "
    "research is no consent to publication.",
)
@click.option("--contributor", "contributors", multiple=True, metavar="'NAME <https://...>'", help="Whom to cite.")
@click.option(
    "--coarse",
    "is_coarse",
    is_flag=True,
    help="Days to months and masses to 5 kg: harder to trace to a person. Feet are computed with that mass.",
)
@click.option(
    "--format",
    "format_",
    type=click.Choice(["package", "c3d", "bids"]),
    default="package",
    show_default=True,
    help="package: the data package; c3d: the same with a C3D file of each sweep; bids: a BIDS dataset with motion.",
)
@a_store
def export(
    sweeps: tuple[int, ...],
    folder: Path,
    everything: bool,
    purpose: Any,
    form: Any,
    licence: str | None,
    contributors: tuple[str, ...],
    is_coarse: bool,
    format_: str,
    store: Path | None,
) -> None:
    """Write SWEEPS into FOLDER as a data package: steps, strokes, loads, raw, calibrations, methods, exclusions.

    Or as a BIDS dataset, which has loads, steps and answers alone.

    Pseudonyms only. Research needs the client's consent. A sweep with lost data is exported with its gap; one that
    cannot be exported, or may not, is reported and left out, and the exit code is 1; with --all those count that are
    damaged, not those whose clients have not agreed or that have not ended. A sweep that is just being ridden is left
    out. Run again with the same FOLDER, an interrupted export continues; a FOLDER that holds another kind of export, a
    coarse one beside an exact one, or one for the client beside one for research, is refused with exit code 2. The
    daemon may be running.
    """
    from daq.keep.again.recompute import recompute_stored
    from daq.keep.errors import StoreDamaged
    from daq.keep.package.bids_dataset import export_bids
    from daq.keep.package.export import export as exported
    from daq.keep.package.one_kind import FolderTaken
    from daq.keep.package.permission import exportable, permitted

    said: list[str] = []
    try:
        named = [contributor(words) for words in contributors]
    except ValueError as error:
        fail(REFUSED, f"--contributor: {error}")
    with opened(store) as open_store, bar("exporting") as progress:
        ids, left_out = exportable(open_store, purpose) if everything else permitted(open_store, sweeps, purpose)
        for why in left_out:
            tell(f"left out: {why}")
        if not ids:
            fail(REFUSED, "no sweep to export; give the numbers of some that may be exported, or --all for all of them")
        simulated = all(open_store.session(open_store.sweep(i).session_id).simulated for i in ids)
        terms = LICENCES[licence] if licence else FREE if simulated else CLOSED
        common: Any = {
            "purpose": purpose,
            "licence": terms,
            "contributors": named,
            "is_coarse": is_coarse,
            "progress": progress,
            "told": said.append,
        }
        try:
            if format_ == "bids":
                made = export_bids(open_store, ids, folder, recompute_stored, **common)
            else:
                made = exported(
                    open_store, ids, folder, recompute_stored, form=form, with_c3d=format_ == "c3d", **common
                )
        except FolderTaken as error:
            fail(REFUSED, error)
    for line in (*said, *made):
        tell(str(line))
    missed = [why for why in left_out if not everything or isinstance(why, StoreDamaged)]
    incomplete = missed or any(line.startswith("left out") for line in said)
    raise SystemExit(CHECK_FAILED if incomplete else 0)
