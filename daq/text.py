"""Text from elsewhere: shown so that it cannot control a terminal, refused where a person types it. The dangerous
characters are those that do something instead of standing for themselves: the control characters C0 and C1 (ECMA-48),
the line and paragraph separators of Unicode, halves of a surrogate pair, and the bidirectional formatting characters of
Unicode (UAX #9, section 2), which make a line display in another order than it is written.
"""

from __future__ import annotations

import re
from typing import Annotated

from pydantic import AfterValidator

_ACTS = r"\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff\u202a-\u202e\u2066-\u2069"
_MARKS = r"\u061c\u200e\u200f"
"""Invisible direction marks. Harmless in a text of its own, misleading in a terminal line."""
_SHOWN = re.compile(rf"(?![\n\t])[{_ACTS}{_MARKS}]")
_IN_A_LINE = re.compile(f"[{_ACTS}]")
_IN_LINES = re.compile(rf"(?!\r?\n|\t)[{_ACTS}]")


def visible(text: str) -> str:
    """The text with every control character written as its escape; line breaks and tabs stay."""
    return _SHOWN.sub(lambda found: _escape(found[0]), text)


def visible_line(text: str) -> str:
    """The same for text that has to stay on one line: breaks and tabs are escaped too."""
    return visible(text).replace("\n", "\\n").replace("\t", "\\t")


def checked_line(text: str) -> str:
    """The text; ValueError if it contains a control character, including a line break."""
    return _checked(text, _IN_A_LINE)


def checked_lines(text: str) -> str:
    """The text, line breaks and tabs allowed; ValueError if it contains another control character."""
    return _checked(text, _IN_LINES)


Line = Annotated[str, AfterValidator(checked_line)]
"""One line that a person typed: a name, a label."""
Lines = Annotated[str, AfterValidator(checked_lines)]
"""What a person wrote in a field of several lines: a note, a reason."""


def _checked(text: str, acting: re.Pattern[str]) -> str:
    found = acting.search(text)
    if found:
        raise ValueError(f"text without control characters; character {found.start() + 1} is {_escape(found[0])}")
    return text


def _escape(letter: str) -> str:
    code = ord(letter)
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}"
