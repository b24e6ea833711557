"""What a person may have typed of a sweep that leaves the store, apart from the program's own words: a client called
Power, Saddle or Rider is not named by these. Pure.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator
from typing import Any, get_args

from daq.keep.package.tables import Field
from daq.rig import PositionRole, Role

_MADE_HERE = frozenset(
    {
        *("sweep", "source", "characteristic", "payload", "kind", "method", "part", "verdict", "state", "reason"),
        *("reasons", "evidence", "test", "result", "means", "cure", "grade", "jig", "software"),
        *("event", "sentence", "said", "error", "proof", "protocol", "order", "purpose", "standing"),
        *("height_policy", "bar_height_policy", "role", "shape", "count", "table"),
    }
)
"""Columns, and fields in columns of JSON, with words chosen by the program."""
_SIMULATED = frozenset({"simulated", "simulated board", "simulated cell", "simulated jig"})
"""Whole texts that the simulator writes where a person types on a real jig."""
_OF_THE_RIG_FILE = frozenset({"role", "link", "parity", "checksum", "kind", "word_order", "effort"})
"""Keys of a rig file whose values are words of its format."""
_NAMES_OF_CHANNELS = frozenset({"channel", "channels", "load", "positions", "registers"})
_CHANNEL_WORDS = frozenset(
    {
        *re.findall("[a-z]+", " ".join((*get_args(Role), *get_args(PositionRole)))),
        *("cell", "n", "deg", "left", "right", "front", "rear", "nose", "slide"),
    }
)
"""A channel whose name says by these where it sits is named after nobody."""
_DEVICE_FOLDER = re.compile(r"^/dev/(serial/by-(id|path)/)?")
_TEXT_OR_COMMENT = re.compile(
    r"""(\"{3}(?:\\.|[^\\])*?\"{3,5}|'{3}.*?'{3,5}|"(?:\\.|[^"\\\n])*"|'[^'\n]*')|[ \t]*\#[^\n]*""", re.DOTALL
)


def typed(field: Field, cell: str) -> Iterator[str]:
    """The texts of a cell of this column that a person may have typed; a rig file's comments are not among them."""
    if field.name in _MADE_HERE:
        return
    if field.name == "rig":
        yield from _of_rig(cell)
    else:
        yield from _texts(cell if field.type == "string" else json.loads(cell), (field.name,))


def channel_typed(name: str) -> str:
    """What of a channel's name is not just the place where it sits."""
    return " ".join(word for word in name.split("_") if word not in _CHANNEL_WORDS)


def without_comments(rig: str) -> str:
    """A rig file without its comments, which are free text; as it is when it is not TOML."""
    try:
        tomllib.loads(rig)
    except (ValueError, RecursionError):
        return rig
    return _TEXT_OR_COMMENT.sub(lambda found: found[1] or "", rig)


def _of_rig(text: str) -> Iterator[str]:
    """Every value that is no word of the format; the whole text when it is not TOML."""
    try:
        table: Any = tomllib.loads(text)
    except (ValueError, RecursionError):
        table = text
    yield from _texts(table, ("rig",), _OF_THE_RIG_FILE)


def _texts(value: Any, keys: tuple[str, ...], made_here: frozenset[str] = _MADE_HERE) -> Iterator[str]:
    """keys: those that lead to the value, outermost first."""
    if isinstance(value, list):
        for one in value:
            yield from _texts(one, keys, made_here)
    elif isinstance(value, dict):
        for key, one in value.items():
            if key not in made_here:
                yield from _texts(one, (*keys, key), made_here)
    elif isinstance(value, str) and value not in _SIMULATED:
        yield _own_words(value, keys)


def _own_words(text: str, keys: tuple[str, ...]) -> str:
    """Without what the place gives: where on the jig a channel sits, in which folder devices are."""
    if keys[-1] in _NAMES_OF_CHANNELS or (keys[-1] == "name" and _NAMES_OF_CHANNELS & set(keys[-2:-1])):
        return channel_typed(text)
    return _DEVICE_FOLDER.sub("", text) if keys[-1] == "port" else text
