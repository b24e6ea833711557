"""datapackage.json, version 2 of the Data Package standard (datapackage.org): the content of a folder, with units.
Custom properties: `unit` of a field, a UCUM code, since the standard has none; `version` of a schema; `jsonSchema` of a
field, which the standard defines as a constraint that frictionless does not support yet and rejects.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import reprlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from daq.keep.bounded import MOST_JSON_BYTES, Refused, open_plain, read_bytes
from daq.keep.errors import StoreDamaged
from daq.keep.package.batches import MOST_FILE_BYTES
from daq.keep.package.descriptor import descriptor_of
from daq.keep.package.keys import schema_keys
from daq.keep.package.tables import Field, Table
from daq.keep.private import write_text

NAME = "datapackage.json"
PACKAGE_PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
RESOURCE_PROFILE = "https://datapackage.org/profiles/2.0/dataresource.json"
_PLAIN_PATH = re.compile(r"[\w%.~-][\w%.~ /-]*")
SCHEMA_PROFILE = "https://datapackage.org/profiles/2.0/tableschema.json"
_MEDIA = {"parquet": "application/vnd.apache.parquet", "gz": "text/csv", "csv": "text/csv"}


def resource(table: Table, path: Path) -> dict[str, Any]:
    """The descriptor of a written table, path relative to its own folder."""
    content = path.read_bytes()
    packed = {"compression": "gz"} if path.suffix == ".gz" else {}
    is_parquet = path.suffix == ".parquet"
    return {
        "$schema": RESOURCE_PROFILE,
        "name": table.name,
        "path": path.name,
        "type": "table",
        "description": table.description,
        "format": "parquet" if is_parquet else "csv",
        "mediatype": _MEDIA[path.suffix[1:]],
        "encoding": "utf-8",
        **packed,
        **({} if is_parquet else {"bytes": len(content)}),  # frictionless does not count them and would report it
        "hash": "sha256:" + hashlib.sha256(content).hexdigest(),
        "schema": {
            "$schema": SCHEMA_PROFILE,
            **schema_keys(table.name),
            "fields": [_field(field, is_parquet=is_parquet) for field in table.fields],
            "missingValues": [""],
        },
    }


def file_resource(name: str, path: Path, content: bytes, description: str) -> dict[str, Any]:
    """The descriptor of a file that is not a table."""
    return {
        "name": name,
        "path": path.name,
        "description": description,
        "format": path.suffix[1:],
        "mediatype": "application/octet-stream",
        "bytes": len(content),
        "hash": "sha256:" + hashlib.sha256(content).hexdigest(),
    }


def _field(field: Field, *, is_parquet: bool) -> dict[str, Any]:
    """frictionless reads Parquet through pandas, where an integer that is missing is the fraction NaN."""
    gaps = {"missingValues": ["", "nan"]} if is_parquet and field.type == "integer" else {}
    categories = [{"value": value, "label": label} for value, label in (field.categories or {}).items()]
    return {
        "name": field.name,
        "type": field.type,
        "description": field.description,
        **({"unit": field.unit} if field.unit else {}),
        **gaps,
        **({"categories": categories, "constraints": {"enum": [*(field.categories or {})]}} if categories else {}),
        **({"jsonSchema": field.json_schema} if field.json_schema else {}),
    }


def write_descriptor(folder: Path, content: Mapping[str, Any]) -> None:
    """Writes datapackage.json: the properties given, then the profile."""
    text = json.dumps({"$schema": PACKAGE_PROFILE, **content}, indent=1, ensure_ascii=False)
    write_text(folder / NAME, text + "\n")


@dataclass(frozen=True, slots=True)
class Package:
    """A folder whose files have all been verified against its descriptor."""

    folder: Path
    descriptor: Mapping[str, Any]
    paths: Mapping[str, Path]
    """The path of each table, by name. Nothing else in the folder is read."""

    def table(self, name: str) -> Path:
        """The path of this table. StoreDamaged if it is not listed: then it has not been verified."""
        if name not in self.paths:
            raise StoreDamaged(f"{self.folder}: no table {name} among those that {NAME} lists")
        return self.paths[name]


def read_package(folder: Path) -> Package:
    """A folder with every listed file checked against its size and hash. Raises StoreDamaged that names a file that is
    not what was exported, is not a plain file, or is outside the folder.
    """
    try:
        descriptor = descriptor_of(read_bytes(folder / NAME, MOST_JSON_BYTES))
    except FileNotFoundError as error:
        raise StoreDamaged(f"{folder} has no {NAME}: expected an exported sweep, or a folder of them") from error
    except (OSError, ValueError) as error:
        said = error.strerror if isinstance(error, OSError) else error
        raise StoreDamaged(f"{folder} is not a readable data package: {NAME}: {said}") from error
    paths: dict[str, Path] = {}
    read: set[tuple[int, int]] = set()
    for one in descriptor["resources"]:
        if one["name"] in paths:
            raise StoreDamaged(f"{folder}: {NAME} lists {reprlib.repr(one['name'])} twice; expected each name once")
        paths[one["name"]] = _checked(folder, one["path"], one.get("bytes"), one["hash"], read)
    return Package(folder, descriptor, paths)


def _checked(folder: Path, name: str, size: int | None, digest: str, read: set[tuple[int, int]]) -> Path:
    """The path of a listed file, verified. read: the files that were, by device and inode: one listed under a thousand
    names would be read a thousand times.
    """
    if not _PLAIN_PATH.fullmatch(name) or ".." in Path(name).parts:
        raise StoreDamaged(f"{folder}: {NAME} lists {reprlib.repr(name)}; expected a path within the folder")
    path = folder / name
    if not path.exists():
        raise StoreDamaged(f"{folder}: {name} is missing")
    try:
        if not path.resolve().is_relative_to(folder.resolve()):
            raise Refused(f"{path}: expected a file within the folder, got a link out of it")
        with open_plain(path, most_bytes=MOST_FILE_BYTES) as file:
            status = os.fstat(file.fileno())
            if (status.st_dev, status.st_ino) in read:
                raise Refused(f"{path}: listed twice in {NAME}, expected each file once")
            read.add((status.st_dev, status.st_ino))
            found = f"sha256:{hashlib.file_digest(file, 'sha256').hexdigest()}"
            length = file.tell()
    except (Refused, OSError) as error:
        raise StoreDamaged(str(error)) from error
    if size not in (None, length) or found != digest:
        raise StoreDamaged(f"{path} is not what was exported: its checksum does not agree")
    return path
