"""Says a sentence when something begins to be wrong, and one when it is mended; not one every second."""

from __future__ import annotations

from collections.abc import Callable, Mapping

ALARMING = "store"
"""What is wrong with it may cost what is being ridden."""


class Watch:
    """What was last said to be wrong with each part."""

    def __init__(self, note: Callable[[str, str], None]) -> None:
        """note: level and sentence."""
        self._note = note
        self._said: Mapping[str, str] = {}

    def look(self, troubles: Mapping[str, str]) -> dict[str, str]:
        """Say what has changed; what is newly wrong comes back. troubles: a sentence for each part, empty where nothing
        is wrong."""
        new = {}
        for name in dict.fromkeys((*self._said, *troubles)):
            trouble = troubles.get(name, "")
            if trouble != self._said.get(name, ""):
                if trouble:
                    new[name] = trouble
                level = "info" if not trouble else "alarm" if name == ALARMING else "caution"
                self._note(level, f"{name}: {trouble or 'all well again'}")
        self._said = dict(troubles)
        return new
