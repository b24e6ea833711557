"""Inputs that nobody would write: bytes and JSON changed at random, by a generator with a seed."""

import copy
import json

import numpy as np

NUMBERS = [0, -1, 1, 2**31, 2**32, 2**63, 2**64, -(2**63), 10**30, 1e308, -1e308, 5e-324, 0.5, float("nan")]
TEXTS = [
    "",
    "\x00",
    "\x1b[2J\x1b]0;x\x07",
    "\u202e",
    "A" * 5000,
    "=1+1",
    "../x",
    "/etc/passwd",
    "nan",
    "9" * 400,
    "é\u2028",
]
OTHERS = [None, True, [], {}, [[]], {"": {}}, [0] * 300, {str(i): i for i in range(300)}]
PIECES = [
    b"\0",
    b"\xff" * 8,
    b"[" * 3000,
    b"{" * 40,
    b'"',
    b",",
    b"\n",
    b"9" * 30,
    b"-",
    b"1e999",
    b"NaN",
    b"\x1b[31m",
    b"=",
]


def weird(rng: np.random.Generator) -> object:
    """A value where another was expected."""
    kind = (NUMBERS, TEXTS, OTHERS)[rng.integers(3)]
    found = copy.deepcopy(kind[rng.integers(len(kind))])
    if rng.random() < 0.03:  # nested far deeper than anything of ours
        for _ in range(int(rng.integers(60, 900))):
            found = [found]
    return found


def changed_json(content: object, rng: np.random.Generator) -> object:
    """The content with one or a few of its values replaced, dropped, doubled or moved to another key."""
    content = copy.deepcopy(content)
    for _ in range(int(rng.integers(1, 4))):
        place = content
        while isinstance(place, (dict, list)) and place:
            keys = list(place) if isinstance(place, dict) else list(range(len(place)))
            key = keys[rng.integers(len(keys))]
            if isinstance(place[key], (dict, list)) and place[key] and rng.random() < 0.8:
                place = place[key]
                continue
            _change(place, key, rng)
            break
        else:
            content = weird(rng)
    return content


def _change(place, key, rng):
    match rng.integers(4):
        case 0:
            del place[key]
        case 1 if isinstance(place, dict):
            place[TEXTS[rng.integers(len(TEXTS))][:50]] = place.pop(key)
        case 1:
            place.extend(list(place))  # not copied: what nests deepest is too deep for that
        case _:
            place[key] = weird(rng)


def changed_bytes(content: bytes, rng: np.random.Generator) -> bytes:
    """The content with one or a few pieces cut out, doubled, overwritten or put in."""
    for _ in range(int(rng.integers(1, 5))):
        at = int(rng.integers(0, len(content) + 1))
        end = min(len(content), at + int(rng.integers(0, 64)))
        match rng.integers(5):
            case 0:
                content = content[:at] + content[end:]
            case 1:
                content = content[:end] + content[at:end] * int(rng.integers(1, 50)) + content[end:]
            case 2:
                content = content[:at] + rng.bytes(end - at) + content[end:]
            case 3:
                content = content[:at] + PIECES[rng.integers(len(PIECES))] + content[at:]
            case 4 if rng.random() < 0.3:
                content = content[:at]
    return content


def text_of(content: object) -> bytes:
    """As JSON text, however deep; Python's own encoder gives up at a thousand levels."""
    try:
        text = json.dumps(content)
    except RecursionError:
        text = "[" * 3000 + "]" * 3000
    return text.encode("utf-8", "surrogatepass")
