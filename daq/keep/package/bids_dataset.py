"""Sweeps to a folder that is a BIDS dataset: a rider is a subject, a session of the jig a session, a sweep a run.

folder/dataset_description.json, README.md, participants.tsv
folder/sub-X/ses-Y/sub-X_ses-Y_scans.tsv   what each sweep gave
folder/sub-X/ses-Y/motion/                 loads, tilt and setback scan by scan, channels, events
"""

from __future__ import annotations

import csv
import datetime
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from daq import __version__
from daq.items import Hello, Item
from daq.keep.again.derived import Derived
from daq.keep.again.stored import items_of
from daq.keep.bounded import read_text
from daq.keep.clients import people
from daq.keep.errors import StoreError
from daq.keep.package.bids import BIDS_VERSION, MISSING, Names, described, motion_files, table
from daq.keep.package.coarse import coarse_session, coarse_sweep
from daq.keep.package.export import recompute_coarse
from daq.keep.package.one_by_one import one_by_one
from daq.keep.package.one_kind import BIDS, FOR_CLIENT, GENERATOR, keep_for_client, refuse_mixed
from daq.keep.package.permission import Purpose, refuse_named_channels
from daq.keep.package.readme import TITLE
from daq.keep.package.terms import CLOSED, Licence
from daq.keep.private import make_folder, write_text
from daq.keep.store import Store
from daq.sweep.losses import in_short

MOST_LIST_BYTES = 2**20
"""Most bytes of the table that lists one session's sweeps, a line each."""
SCAN_COLUMNS = {
    "filename": "",
    "acq_time": "",
    "simulated": "whether rider and jig were simulated",
    "mass_kg": "the rider, with shoes and clothes, kg",
    "gradient_pct": "of the jig, 100 tan(tilt), nose up positive, %",
    "verdict": "what may be claimed: onset, light-throughout, loaded-throughout, rise-seen or undecided",
    "onset_mm": "setback where hand load begins to rise as the saddle comes forward, mm",
    "onset_low_mm": "its 95 % interval, lower end, mm",
    "onset_high_mm": "its 95 % interval, upper end, mm",
    "jig": "how setback scale and proof of the jig stood that day",
    "lost": "what of the raw is lost",
}


def export_bids(
    store: Store,
    sweep_ids: Sequence[int],
    folder: Path,
    recompute_stored: Callable[[Store, int], Derived],
    *,
    purpose: Purpose = "research",
    licence: Licence = CLOSED,
    contributors: Sequence[Mapping[str, Any]] = (),
    is_coarse: bool = False,
    progress: Callable[[int, int], None] | None = None,
    told: Callable[[str], None] | None = None,
) -> list[Path]:
    """Writes the sweeps into the dataset, beside others that are already there; the motion files made.

    Arguments, refusals and what is told are those of `export`. A sweep without loads is left out.
    """
    refuse_mixed(folder, BIDS, is_coarse=is_coarse, for_client=purpose == "client")
    if purpose == "client":
        keep_for_client(folder)
        write_text(folder / ".bidsignore", f"{FOR_CLIENT}\n")
    compute = recompute_coarse if is_coarse else recompute_stored
    names = {sweep_id: _names(store, sweep_id, is_coarse) for sweep_id in sweep_ids}
    targets = {one: folder / name.folder / name.file("motion.tsv") for one, name in names.items()}

    def write(sweep_id: int, target: Path) -> Path:
        derived, name, sweep = compute(store, sweep_id), names[sweep_id], store.sweep(sweep_id)
        if purpose == "research":
            refuse_named_channels(store, sweep, derived.cells)
        items = list(items_of(store, sweep))
        texts = motion_files(derived, items, name, rate_hz=_rate_hz(items), software=__version__)
        if not texts:
            raise StoreError("no loads can be computed of it")
        if derived.losses and told is not None:
            told(f"{target.name}: exported without what is lost of it: {'; '.join(in_short(derived.losses))}")
        session = folder / name.folder
        make_folder(target.parent)
        _add_scan(session, name, _scan(store, sweep_id, derived, target.relative_to(session), is_coarse))
        for file, text in texts.items():  # motion.tsv is written last: it shows that the sweep is complete
            write_text(session / file, text)
        return target

    def describe() -> None:
        _describe(folder, licence, contributors)

    return one_by_one(store, folder, targets, write, describe, purpose=purpose, progress=progress, told=told)


def _names(store: Store, sweep_id: int, is_coarse: bool) -> Names:
    sweep = store.sweep(sweep_id)
    session = store.session(sweep.session_id)
    if sweep.client_id is not None:
        who = people.client(store, sweep.client_id).pseudonym
    else:
        who = "simulated" if session.simulated else "unnamed"
    digits = "".join(letter for letter in session.started_utc[:19] if letter.isdigit())
    return Names("".join(filter(str.isalnum, who)), digits[:6] if is_coarse else digits, sweep_id)


def _rate_hz(items: Iterable[Item]) -> float:
    """What the board says of itself; 0 when it has said nothing."""
    return next((float(item.content.get("scan_rate_hz", 0.0)) for item in items if isinstance(item, Hello)), 0.0)


def _scan(store: Store, sweep_id: int, derived: Derived, file: Path, is_coarse: bool) -> tuple[object, ...]:
    """A row of scans.tsv."""
    sweep = store.sweep(sweep_id)
    session = store.session(sweep.session_id)
    if is_coarse:
        sweep, session = coarse_sweep(sweep), coarse_session(session, sweep_id)
    first_s = float(derived.loads[0].t_s[0])
    begun = datetime.datetime.fromisoformat(session.started_utc) + datetime.timedelta(seconds=first_s)
    acquired = None if is_coarse else begun.astimezone(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    onset = derived.onset
    low_mm, high_mm = (None, None) if onset is None or onset.interval_95_mm is None else onset.interval_95_mm
    return (
        file.as_posix(),
        acquired,
        str(session.simulated).lower(),
        sweep.rider.get("mass_kg"),
        sweep.gradient_pct,
        None if onset is None else str(onset.verdict),
        None if onset is None else onset.onset_mm,
        low_mm,
        high_mm,
        "; ".join(derived.jig_said),
        "; ".join(derived.losses),
    )


def _add_scan(session: Path, name: Names, row: tuple[object, ...]) -> None:
    """Puts the row among those of the session's other sweeps."""
    path = session / f"sub-{name.subject}_ses-{name.session}_scans.tsv"
    there: list[list[str]] = []
    if path.exists():
        listed = read_text(path, MOST_LIST_BYTES).splitlines()
        there = list(csv.reader(listed, delimiter="\t", quoting=csv.QUOTE_NONE))[1:]
    rows: list[Sequence[object]] = [*(one for one in there if one[0] != row[0]), row]
    write_text(path, table(tuple(SCAN_COLUMNS), sorted(rows, key=lambda one: str(one[0]))))
    meanings = {column: {"Description": text} for column, text in SCAN_COLUMNS.items() if text}
    write_text(path.with_suffix(".json"), described(meanings))


def _describe(folder: Path, licence: Licence, contributors: Sequence[Mapping[str, Any]]) -> None:
    """What holds for the whole dataset."""
    about = {
        "Name": TITLE,
        "BIDSVersion": BIDS_VERSION,
        "DatasetType": "raw",
        "License": licence.name,
        "Authors": [one["title"] for one in contributors],
        "GeneratedBy": [{"Name": GENERATOR, "Version": __version__}],
    }
    write_text(folder / "dataset_description.json", described({key: value for key, value in about.items() if value}))
    subjects = sorted(path.name for path in folder.glob("sub-*"))
    write_text(
        folder / "participants.tsv", table(("participant_id", "species"), [(one, _species(one)) for one in subjects])
    )
    write_text(folder / "README.md", _README.format(title=TITLE, terms=licence.title, missing=MISSING))


def _species(subject: str) -> str | None:
    return None if subject == "sub-simulated" else "homo sapiens"


_README = """# {title}

A rider pedals at a held effort on a jig that weighs hands and saddle, while the saddle is moved step by step. Forward
of some setback hand load begins to rise: the onset. What each sweep gave stands in the `scans.tsv` of its session, with
a verdict; simulated riders are marked there.

BIDS with the motion extension: the jig is the tracking system `jig`. `*_motion.tsv` has a row a scan, not resampled;
its last column, `latency`, is when. `*_channels.tsv` names the columns with their units, `*_events.tsv` has the steps
and what the fitter did, in seconds from the first scan. Loads are computed from counts by the calibration of the day,
rounded to 0.001 N; a rig with cells of one axis does not see forces along the jig. Missing is {missing}.

Counts, calibrations, strokes and the tests of validity are in the data package that `foreaft export` writes of the
same sweeps. Terms of use: {terms}. Riders go by pseudonym: who knows when somebody was fitted may still find them.
"""
