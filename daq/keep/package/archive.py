"""One function over every sweep of an archive, on this machine's cores or on a cluster, resumable.

An archive is a folder of exported sweeps (daq.keep.package.export), or of such folders, one a workshop: then a sweep is
called workshop/sweep. The function takes a sweep's folder and returns
rows, one dictionary each; any exception is listed and stops nothing. Outcomes are appended to a journal as they arrive,
so an interrupted analysis resumes where it was; failed sweeps are tried again.

    out/journal.jsonl      one line per sweep done
    out/results.parquet    all rows, by sweep (csv.gz without pyarrow)
    out/failures.parquet   sweep and error
    out/datapackage.json   both, described
"""

from __future__ import annotations

import contextlib
import hashlib
import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, TypeAlias

from daq.keep.json_text import json_text
from daq.keep.package.datapackage import NAME, resource, write_descriptor
from daq.keep.package.one_kind import refuse_results_in
from daq.keep.package.parquet_columns import FieldType
from daq.keep.package.tables import SWEEP, Field, Form, Table, preferred_form, table_of_rows, write_table

NAMED = "foreaft-analysis"
"""The name of the results' data package."""
LIST = "sweeps.csv"
"""Of an exported folder, beside its sweeps."""
Row: TypeAlias = Mapping[str, Any]
Analysis: TypeAlias = Callable[[Path], Iterable[Row]]
"""Rows from a sweep's folder. It has to be importable by name in the workers (a function, or a partial)."""
Outcome: TypeAlias = tuple[Path, list[dict[str, Any]] | None, str | None]
"""(the sweep's folder, rows, error): one of the last two is None."""
Mapper: TypeAlias = Callable[[Callable[[Path], Outcome], Sequence[Path]], Iterator[Outcome]]
"""Applies a function to each folder, anywhere, and yields outcomes as they arrive, in any order."""


@dataclass(frozen=True, slots=True)
class Analysed:
    """How an analysis went."""

    sweeps: int
    done_before: int
    """Sweeps that an earlier run had finished with the same method and data."""
    failures: Mapping[str, str]
    """Error by sweep."""
    results: Path
    rows: Mapping[str, Sequence[Row]]
    """Rows by sweep, those from before as well."""


def analyse(
    archive: Path,
    analysis: Analysis,
    out: Path,
    *,
    method: str,
    mapper: Mapper,
    form: Form | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Analysed:
    """Runs the analysis over every sweep of the archive and writes its tables.

    method: name and version, the analysis's own; a sweep already finished under it is not computed again unless its
    data has changed. mapper: daq.keep.package.workers.local(...) or .cluster(...). progress(done, all). FolderTaken if
    the results would overwrite an export's descriptor.
    """
    refuse_results_in(out, archive, NAMED)
    archive = archive.resolve()
    folders = _sweeps_in(archive)
    names = {folder: folder.relative_to(archive).as_posix() for folder in folders}
    out.mkdir(parents=True, exist_ok=True)
    keys = {names[folder]: _key(folder, method) for folder in folders}
    done = _read_journal(out / "journal.jsonl", keys)
    before = len(done)
    left = [folder for folder in folders if names[folder] not in done]
    failures: dict[str, str] = {}
    with (out / "journal.jsonl").open("a", encoding="utf-8") as journal:
        for count, (folder, rows, error) in enumerate(mapper(partial(outcome, analysis), left), start=before + 1):
            sweep = names[folder]
            if rows is not None:
                done[sweep] = rows
                journal.write(_line({"sweep": sweep, "key": keys[sweep], "rows": rows}))
                journal.flush()
            else:
                failures[sweep] = error or "no reason given"
            if progress is not None:
                progress(count, len(folders))
    results = _write_tables(out, done, failures, method, form or preferred_form())
    return Analysed(len(folders), before, failures, results, done)


def _sweeps_in(archive: Path) -> list[Path]:
    """Exported sweeps in the folder itself, and in the exports that lie in it: each of these has a descriptor too, and
    one that holds no sweep is known by its list of them."""
    found = sorted({path.parent for depth in ("*", "*/*") for path in archive.glob(f"{depth}/{NAME}")})
    exports = {folder.parent for folder in found}
    return [folder for folder in found if folder not in exports and not (folder / LIST).exists()]


def outcome(analysis: Analysis, folder: Path) -> Outcome:
    """The analysis of one sweep, with any exception as text."""
    try:
        return folder, [dict(row) for row in analysis(folder)], None
    except Exception as error:
        return folder, None, f"{type(error).__name__}: {error}"


def _line(entry: dict[str, Any]) -> str:
    """An entry of the journal; the slower path is used only for values that JSON lacks."""
    try:
        return json.dumps(entry, allow_nan=False, ensure_ascii=False) + "\n"
    except (ValueError, TypeError):
        return json_text(entry) + "\n"


def _key(folder: Path, method: str) -> str:
    """Changes with the method and with any byte of the sweep: its descriptor holds the hash of every file."""
    return hashlib.sha256(method.encode() + b"\0" + (folder / NAME).read_bytes()).hexdigest()[:24]


def _read_journal(path: Path, keys: Mapping[str, str]) -> dict[str, list[dict[str, Any]]]:
    """Rows by sweep of what is finished and still valid. A line cut off by a kill is dropped and removed from the
    file."""
    if not path.exists():
        return {}
    content = path.read_bytes()
    whole = content[: content.rfind(b"\n") + 1]
    if len(whole) < len(content):
        path.write_bytes(whole)
    done: dict[str, list[dict[str, Any]]] = {}
    for line in whole.splitlines():
        with contextlib.suppress(ValueError, KeyError, TypeError):  # a damaged line: that sweep is computed again
            entry = json.loads(line)
            if keys.get(entry["sweep"]) == entry["key"]:
                done[entry["sweep"]] = entry["rows"]
    return done


def _write_tables(
    out: Path, done: Mapping[str, list[dict[str, Any]]], failures: Mapping[str, str], method: str, form: Form
) -> Path:
    failed = table_of_rows(
        "failures",
        "Sweeps that could not be analysed, and why",
        (SWEEP, Field("error", "string", "what went wrong")),
        sorted(failures.items()),
    )
    results = _results(done, method)
    paths = {table.name: write_table(table, out, form) for table in (results, failed)}
    resources = [resource(table, paths[table.name]) for table in (results, failed)]
    write_descriptor(out, {"name": NAMED, "title": f"Analysis by {method}", "resources": resources})
    return paths["results"]


def _results(done: Mapping[str, list[dict[str, Any]]], method: str) -> Table:
    rows = [{"sweep": sweep, **row} for sweep in sorted(done) for row in done[sweep]]
    names = list(dict.fromkeys(name for row in rows for name in row)) or ["sweep"]
    columns = {name: [row.get(name) for row in rows] for name in names}
    fields = tuple(Field(name, _type(columns[name]), f"{name}, by {method}") for name in names)
    return Table("results", f"Results of {method}, by sweep", fields, tuple(_fit(columns[f.name], f) for f in fields))


def _type(column: list[Any]) -> FieldType:
    kinds = {type(value) for value in column if value is not None}
    if kinds <= {bool} and kinds:
        return "boolean"
    if kinds <= {int} and kinds:
        return "integer"
    return "number" if kinds <= {int, float} else "string"


def _fit(column: list[Any], field: Field) -> list[Any]:
    if field.type != "string":
        return column
    return [value if value is None or isinstance(value, str) else json_text(value) for value in column]
