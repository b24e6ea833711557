"""A folder of exports is of one kind and one degree of coarseness; anything else is refused before a file is written.

Two kinds overwrite each other's README.md, and a sweep with its day beside the same one without gives the day away.
Both are known by the names of the sweeps, so that an export that was stopped, or made by an earlier version, is known.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from daq.keep.bounded import MOST_JSON_BYTES, from_json, read_bytes
from daq.keep.errors import StoreError
from daq.keep.private import make_folder, write_text

CLIENT = "client.json"
"""Of a folder handed over to a client: it has the name in it."""
FOR_CLIENT = "for_the_client.txt"
"""In a folder of exports for a client, which hold what was typed about them; sweeps have the same names in both."""
MONTH_DIGITS = 6
"""Of a date in a sweep's name: year and month; 14 with the time of day."""


class FolderTaken(StoreError):
    """The folder is in use for something else; the text says for what, and what to do."""


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of export, and how its folder is known."""

    what: str
    descriptor: str
    is_own: Callable[[Any], bool]
    """Whether a descriptor's content is of an export of this kind."""
    others: tuple[str, ...]
    """The other files it writes into the folder itself."""
    sweeps: str
    """Glob of what there is once a sweep."""
    named: re.Pattern[str]
    """Its name; the group is the date."""


PACKAGE_NAME = "foreaft-sweeps"
GENERATOR = "Foreaft"
PACKAGE = Kind(
    "a data package",
    "datapackage.json",
    lambda content: content["name"] == PACKAGE_NAME,
    ("README.md", "EXAMPLES.md", "ro-crate-metadata.json", "sweeps.csv", "all_steps.csv"),
    "*/",
    re.compile(r"(\d{6}|\d{14})-.+-\d{6}"),
)
BIDS = Kind(
    "a BIDS dataset",
    "dataset_description.json",
    lambda content: any(one["Name"] == GENERATOR for one in content["GeneratedBy"]),
    ("README.md", "participants.tsv"),
    "sub-*/ses-*/motion/*_motion.tsv",
    re.compile(r"sub-[^_]+_ses-(\d{6}|\d{14})_task-setback_tracksys-jig_run-\d+_motion\.tsv"),
)


def refuse_mixed(folder: Path, kind: Kind, *, is_coarse: bool, for_client: bool) -> None:
    """Raises FolderTaken unless an export of this kind, coarseness and purpose may begin in the folder or go on."""
    _refuse_another_kind(folder, kind)
    is_theirs, dates = (folder / FOR_CLIENT).exists(), _dates(folder, kind)
    if is_theirs and not for_client:
        raise FolderTaken(f"{folder} is for a client, who need not have agreed to research: give another folder")
    if for_client and not is_theirs and dates:
        raise FolderTaken(
            f"{folder} holds sweeps that are not for the client, and the same sweep would be left as it is: give "
            "another folder"
        )
    months = {len(date) == MONTH_DIGITS for date in dates}
    if is_coarse and False in months:
        raise FolderTaken(
            f"{folder} holds sweeps with their days, and beside them a coarse one hides nothing: give the coarse "
            "export another folder"
        )
    if not is_coarse and True in months:
        raise FolderTaken(
            f"{folder} holds a coarse export, and a sweep with its day beside it would undo that: add --coarse, or "
            "give the export another folder"
        )


def keep_for_client(folder: Path) -> None:
    """Marks a folder before any sweep is in it: an export that is killed must not pass for one for research."""
    make_folder(folder)
    write_text(folder / FOR_CLIENT, "For the client, who need not have agreed to research: not for research.\n")


def _refuse_another_kind(folder: Path, kind: Kind) -> None:
    if (folder / CLIENT).exists():
        raise FolderTaken(f"{folder} was handed over to a client, whose name is in it: give the export another folder")
    for other in (PACKAGE, BIDS):
        if other is not kind and _holds(folder, other):
            raise FolderTaken(
                f"{folder} holds {other.what}, and {kind.what} would overwrite its README.md: give each its own folder"
            )
    if not _holds(folder, kind):
        for name in (kind.descriptor, *kind.others):
            if (folder / name).exists():
                raise FolderTaken(
                    f"{folder} has a {name} that is of no {kind.what[2:]} made here and would be overwritten: give the "
                    "export another folder"
                )


def refuse_results_in(out: Path, archive: Path, own_name: str) -> None:
    """Raises FolderTaken if a data package is there that is not of this name: its descriptor would be overwritten; or
    if it lies within the archive, which would take it for a sweep."""
    if archive.resolve() in out.resolve().parents:
        raise FolderTaken(f"{out} lies in {archive} and would be taken for a sweep of it: give another OUT")
    found = _content(out / PACKAGE.descriptor)
    if found is not None and found.get("name") != own_name:
        raise FolderTaken(
            f"{out} holds a data package, whose datapackage.json results would overwrite: give another OUT"
        )


def _holds(folder: Path, kind: Kind) -> bool:
    try:
        content = _content(folder / kind.descriptor)
        return bool(_dates(folder, kind)) or (content is not None and kind.is_own(content))
    except (LookupError, TypeError):
        return False


def _dates(folder: Path, kind: Kind) -> set[str]:
    """Of the sweeps of this kind, as their names have them."""
    named = (kind.named.fullmatch(path.name) for path in folder.glob(kind.sweeps))
    return {found[1] for found in named if found}


def _content(path: Path) -> Any:
    """The object in a JSON file; an empty one if it holds none, None without a file."""
    try:
        content = from_json(read_bytes(path, MOST_JSON_BYTES))
    except FileNotFoundError:
        return None
    except ValueError:
        return {}
    return content if isinstance(content, dict) else {}
