"""What a descriptor from elsewhere has to hold before anything is read by it. Other keys are let pass."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from daq.keep.bounded import from_json
from daq.refusals import plainly
from daq.text import Line, Lines


class _Part(BaseModel):
    model_config = ConfigDict(strict=True)


class _Resource(_Part):
    name: Line
    path: Line
    hash: Annotated[str, Field(pattern=r"^sha256:[0-9a-f]{64}$")]
    bytes: Annotated[int, Field(ge=0)] | None = None


class _Licence(_Part):
    name: Line
    title: Line
    path: Line = ""


class _Contributor(_Part):
    title: Line
    path: Line = ""


class _Descriptor(_Part):
    resources: list[_Resource]
    title: Line = ""
    created: Line = ""
    simulated: bool = False
    coarse: bool = False
    licenses: list[_Licence] = []
    contributors: list[_Contributor] = []
    lost: list[Lines] = []


def descriptor_of(content: bytes) -> Mapping[str, Any]:
    """The descriptor in this file. ValueError that names the key and what was expected there."""
    try:
        found = from_json(content)
    except UnicodeDecodeError as error:
        raise ValueError(f"not text in UTF-8, from byte {error.start} on") from error
    if not isinstance(found, dict):
        raise ValueError("expected an object with the key resources")
    try:
        _Descriptor.model_validate(found)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        place = ".".join(str(part) for part in first["loc"])
        raise ValueError(f"{place}: {_expected(first)}") from error
    return found


def _expected(wrong: Any) -> str:
    match wrong["type"]:
        case "model_type":
            return "expected an object"
        case "list_type":
            return "expected a list"
        case "string_type":
            return "expected a text"
        case "string_pattern_mismatch":
            return "expected sha256: and 64 hexadecimal digits"
        case "missing":
            return "missing, and expected in every data package made here"
    return plainly(wrong)
