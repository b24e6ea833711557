"""datapackage.json, version 2 of the Data Package standard (datapackage.org): what lies in a folder, with units.

The standard has no property for units; fields carry `unit`, a UCUM code, as a custom one.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from daq.keep.errors import StoreDamaged
from daq.keep.package.tables import Table

NAME = "datapackage.json"
PACKAGE_PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
RESOURCE_PROFILE = "https://datapackage.org/profiles/2.0/dataresource.json"
_MEDIA = {"parquet": "application/vnd.apache.parquet", "gz": "text/csv"}


def resource(table: Table, path: Path) -> dict[str, Any]:
    """The descriptor of a written table, path relative to its own folder."""
    content = path.read_bytes()
    packed = {"compression": "gz"} if path.suffix == ".gz" else {}
    return {
        "$schema": RESOURCE_PROFILE,
        "name": table.name,
        "path": path.name,
        "type": "table",
        "description": table.description,
        "format": "csv" if packed else "parquet",
        "mediatype": _MEDIA[path.suffix[1:]],
        "encoding": "utf-8",
        **packed,
        "bytes": len(content),
        "hash": "sha256:" + hashlib.sha256(content).hexdigest(),
        "schema": {
            "fields": [
                {
                    "name": field.name,
                    "type": field.type,
                    "description": field.description,
                    **({"unit": field.unit} if field.unit else {}),
                }
                for field in table.fields
            ],
            "missingValues": [""],
        },
    }


def write_descriptor(folder: Path, content: Mapping[str, Any]) -> None:
    """Writes datapackage.json: the properties given, then the profile."""
    text = json.dumps({"$schema": PACKAGE_PROFILE, **content}, indent=2, ensure_ascii=False)
    (folder / NAME).write_text(text + "\n", encoding="utf-8")


def read_descriptor(folder: Path) -> dict[str, Any]:
    """The descriptor of a folder with every file checked against its size and hash. Raises StoreDamaged, naming it."""
    try:
        descriptor = json.loads((folder / NAME).read_text(encoding="utf-8"))
        resources = [(one["path"], one["bytes"], one["hash"]) for one in descriptor["resources"]]
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise StoreDamaged(f"{folder} is not a readable data package: {NAME}: {error}") from error
    for name, size, digest in resources:
        path = folder / name
        if ".." in Path(name).parts or Path(name).is_absolute() or not path.is_file():
            raise StoreDamaged(f"{folder}: {name} is missing")
        content = path.read_bytes()
        if len(content) != size or "sha256:" + hashlib.sha256(content).hexdigest() != digest:
            raise StoreDamaged(f"{path} is not what was exported: its checksum does not agree")
    found: dict[str, Any] = descriptor
    return found
