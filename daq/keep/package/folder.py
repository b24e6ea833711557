"""A folder of exported sweeps described as a whole: README, examples, data package, RO-Crate, and two small tables of
all sweeps.

The folder's datapackage.json lists the two tables and each sweep's own descriptor with its checksum, which lists the
sweep's tables with theirs: it grows by a few lines a sweep.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from daq.keep.bounded import MOST_JSON_BYTES, from_json, read_bytes
from daq.keep.errors import StoreDamaged, StoreError
from daq.keep.package.computed_tables import STEPS, VERDICTS
from daq.keep.package.crate import write_crate
from daq.keep.package.datapackage import NAME, resource, write_descriptor
from daq.keep.package.descriptor import descriptor_of
from daq.keep.package.keys import FORMAT
from daq.keep.package.one_kind import PACKAGE_NAME
from daq.keep.package.readme import TITLE, readme
from daq.keep.package.received_tables import STATES
from daq.keep.package.tables import TEXTS, Field, read_table, table_of_rows, write_table
from daq.keep.private import write_text

SWEEP_NAME = re.compile(r"\d{6,14}-.+-\d{6}")
EXAMPLES = Path(__file__).with_name("examples.md")
SWEEPS = (
    Field("sweep", "string", "name of the sweep, and of its folder"),
    Field("rider", "string", "pseudonym"),
    Field("simulated", "boolean", "whether rider and jig were simulated"),
    Field("session_started_utc", "string", "wall clock at session time 0, ISO 8601 with offset"),
    Field("mass_kg", "number", "the rider, with shoes and clothes", "kg"),
    Field("gradient_pct", "number", "100 tan(tilt), nose up positive", "%"),
    Field("state", "string", "how it ended; missing when it was cut off", categories=STATES),
    Field("verdict", "string", "what may be claimed", categories=VERDICTS),
    Field("onset_mm", "number", "setback where hand load starts to rise as the saddle comes forward", "mm"),
    Field("onset_low_mm", "number", "95 % interval, lower end", "mm"),
    Field("onset_high_mm", "number", "95 % interval, upper end", "mm"),
    Field("method", "string", "name and version of the estimator"),
    Field("lost", "string", "what of its raw is lost; missing when nothing is"),
)


def describe_folder(folder: Path, tell: Callable[[str], None] = lambda _: None) -> None:
    """Writes all that describes the folder, from the sweeps in it. One that cannot be read, or has no descriptor, is
    reported and left out."""
    descriptors: dict[str, Mapping[str, Any]] = {}
    sweeps, steps, listed = [], [], []
    for path in sorted(each / NAME for each in folder.iterdir() if _is_sweep(each)):
        name = path.parent.name
        try:
            if not path.exists():
                raise StoreDamaged(f"its {NAME} is gone, and nothing can be verified without it")
            content = read_bytes(path, MOST_JSON_BYTES)
            descriptor = descriptor_of(content)
            sweep, ridden = _sweep(path.parent, descriptor), _rows(path.parent, "steps", STEPS)
        except (StoreError, OSError, ValueError, LookupError, TypeError) as error:
            tell(f"left out of the folder's own tables: {name}: {error}; move it away and export it again")
            continue
        sweeps.append(sweep)
        steps += ridden
        descriptors[name] = descriptor
        listed.append(_listed(name, content))
    tables = (
        table_of_rows("sweeps", "All sweeps of this folder, and what each gave", SWEEPS, sweeps),
        table_of_rows("all_steps", "The steps of all sweeps of this folder", STEPS, steps),
    )
    files = [resource(table, write_table(table, folder, "csv")) for table in tables]
    about = _about(list(descriptors.values()))
    write_descriptor(folder, {**about, "resources": [*files, *listed]})
    write_text(folder / "README.md", readme(about, len(descriptors)))
    write_text(folder / "EXAMPLES.md", read_bytes(EXAMPLES, MOST_JSON_BYTES).decode())
    write_crate(folder, about, descriptors, [one["path"] for one in files])


def _is_sweep(path: Path) -> bool:
    """A folder with a descriptor, or named as an export names a sweep's."""
    return path.is_dir() and ((path / NAME).exists() or SWEEP_NAME.fullmatch(path.name) is not None)


def _about(descriptors: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """What is true of the sweeps together."""
    simulated = [bool(one.get("simulated")) for one in descriptors]
    contributors = _once(one for each in descriptors for one in each.get("contributors", ()))
    return {
        "name": PACKAGE_NAME,
        "title": TITLE + (" (SIMULATED riders and jig)" if simulated and all(simulated) else ""),
        "description": "Setback sweeps: the load on the hands over the place of the saddle. README.md explains all.",
        "version": FORMAT,
        "created": max((one.get("created", "") for one in descriptors), default=""),
        "simulated": any(simulated),
        **({"coarse": True} if any(one.get("coarse") for one in descriptors) else {}),
        "licenses": _once(one for each in descriptors for one in each.get("licenses", ())),
        **({"contributors": contributors} if contributors else {}),
    }


def _once(found: Any) -> list[Any]:
    kept: list[Any] = []
    for one in found:
        if one not in kept:
            kept.append(one)
    return kept


def _listed(name: str, content: bytes) -> dict[str, Any]:
    return {
        "name": name,
        "path": f"{name}/{NAME}",
        "type": "json",
        "description": "the tables of this sweep, each with its schema and checksum",
        "format": "json",
        "mediatype": "application/json",
        "bytes": len(content),
        "hash": "sha256:" + hashlib.sha256(content).hexdigest(),
    }


def _sweep(folder: Path, descriptor: Mapping[str, Any]) -> tuple[Any, ...]:
    columns = {column: values[0] for column, values in read_table(folder, "sweep").items()}
    answers = read_table(folder, "onset")
    columns |= {column: values[0] for column, values in answers.items() if values}
    entries = from_json(columns.get("rider_entries") or "{}")
    columns["mass_kg"] = entries.get("mass_kg") if isinstance(entries, dict) else None
    columns["lost"] = "; ".join(descriptor.get("lost", ())) or None
    return tuple(_value(field, columns.get(field.name)) for field in SWEEPS)


def _rows(folder: Path, name: str, fields: tuple[Field, ...]) -> list[tuple[Any, ...]]:
    columns = read_table(folder, name)
    count = len(next(iter(columns.values())))
    missing = [None] * count  # a column that an earlier version did not write
    return [
        tuple(_value(field, value) for field, value in zip(fields, row, strict=True))
        for row in zip(*(columns.get(field.name, missing) for field in fields), strict=True)
    ]


def _value(field: Field, value: Any) -> Any:
    """A value as it was before it was written as CSV text."""
    if value is None or value == "" or field.type in TEXTS:
        return value
    if field.type == "boolean":
        return value in (True, "true")
    return int(value) if field.type == "integer" else float(value)
