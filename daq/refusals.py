"""How a person's command is refused: before anything has changed, in a sentence that says what to do instead.

Refusal
├── NotNow    it does not fit what is going on
└── BadValue  a value that cannot be, a ValueError too
    └── Doubted  a value that looks like a slip
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

See = Literal["client", "checks", "plan", "ride", "proof", "bench"]
"""Where what a sentence asks for is done: a part of the visit, or of the work on the jig."""


class Refusal(Exception):
    """The command is refused; nothing has changed."""

    def __init__(self, text: str, *, see: See | None = None) -> None:
        """see: where it is done what has to be done first; None where that is no other place."""
        super().__init__(text)
        self.see = see


class NotNow(Refusal):
    """It does not fit the current state; the text says what would."""


class BadValue(Refusal, ValueError):
    """A value is invalid; the text says what was expected."""


class Doubted(BadValue):
    """It looks like a slip; the same value, sent once more with the word that it is so, is taken."""


def plainly(wrong: Mapping[str, Any]) -> str:
    """What is wrong with one value, in plain words; `wrong` is one of the errors that pydantic lists."""
    limits = wrong.get("ctx", {})
    kind = wrong["type"]
    if limits.get("field_type") == "Value":  # what pydantic calls a text that a validator has looked at
        kind = f"string_{kind}"
    match kind:
        case "missing":
            return "missing"
        case "extra_forbidden":
            return "is not known here"
        case "string_too_short":
            return "write something" if limits["min_length"] == 1 else f"write at least {limits['min_length']} letters"
        case "string_too_long":
            return f"write at most {limits['max_length']} letters"
    message: str = wrong["msg"].removeprefix("Value error, ")
    return message.replace("Input should be", "expected", 1)
