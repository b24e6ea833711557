"""How a person's command is refused: before anything has changed, in a sentence that says what to do instead.

Refusal
├── NotNow    it does not fit what is going on
└── BadValue  a value that cannot be, a ValueError too
    └── Doubted  a value that looks like a slip
"""

from __future__ import annotations


class Refusal(Exception):
    """The command is refused; nothing has changed."""


class NotNow(Refusal):
    """It does not fit the current state; the text says what would."""


class BadValue(Refusal, ValueError):
    """A value is invalid; the text says what was expected."""


class Doubted(BadValue):
    """It looks like a slip; the same value, sent once more with the word that it is so, is taken."""
