"""ro-crate-metadata.json: describes the same folder as an RO-Crate, for research data collections (RO-Crate 1.1,
JSON-LD)."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from daq import __version__
from daq.keep.package.datapackage import NAME
from daq.keep.private import write_text

CRATE = "ro-crate-metadata.json"
_SOFTWARE = "#foreaft"


def write_crate(
    folder: Path, about: Mapping[str, Any], sweeps: Mapping[str, Mapping[str, Any]], tables: Sequence[str]
) -> None:
    """about: properties of the folder's data package; sweeps: each one's descriptor by the name of its folder."""
    licences = [_licence(one) for one in about["licenses"]]
    authors = [_person(i, one) for i, one in enumerate(about.get("contributors", ()), start=1)]
    files = [_file(NAME, "application/json")]
    files += [_file(page, "text/markdown") for page in ("README.md", "EXAMPLES.md")]
    files += [_file(path, "text/csv") for path in tables]
    folders = [_sweep(name, one) for name, one in sweeps.items()]
    root = {
        "@id": "./",
        "@type": "Dataset",
        "name": about["title"],
        "description": about["description"],
        "version": about["version"],
        "datePublished": str(about["created"])[:10],
        "license": [_to(one) for one in licences],
        "hasPart": [_to(one) for one in (*files, *folders)],
        **({"author": [_to(one) for one in authors]} if authors else {}),
        "mentions": {"@id": _SOFTWARE},
    }
    head = {
        "@id": CRATE,
        "@type": "CreativeWork",
        "conformsTo": {"@id": "https://w3id.org/ro/crate/1.1"},
        "about": {"@id": "./"},
    }
    software = {"@id": _SOFTWARE, "@type": "SoftwareApplication", "name": "Foreaft", "version": __version__}
    graph = [head, root, *files, *folders, *licences, *authors, software]
    content = {"@context": "https://w3id.org/ro/crate/1.1/context", "@graph": graph}
    write_text(folder / CRATE, json.dumps(content, indent=1, ensure_ascii=False) + "\n")


def _to(entity: Mapping[str, Any]) -> dict[str, Any]:
    return {"@id": entity["@id"]}


def _file(path: str, kind: str) -> dict[str, Any]:
    return {"@id": path, "@type": "File", "name": path, "encodingFormat": kind}


def _sweep(name: str, descriptor: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "@id": f"{name}/",
        "@type": "Dataset",
        "name": descriptor.get("title", name),
        "dateCreated": descriptor.get("created", ""),
    }


def _licence(one: Mapping[str, Any]) -> dict[str, Any]:
    return {"@id": one.get("path", f"#{one['name']}"), "@type": "CreativeWork", "name": one["title"]}


def _person(number: int, one: Mapping[str, Any]) -> dict[str, Any]:
    path = one.get("path", f"#contributor-{number}")
    kind = "Organization" if path.startswith("https://ror.org/") else "Person"
    return {"@id": path, "@type": kind, "name": one["title"]}
