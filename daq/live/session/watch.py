"""Reports a fault once when it begins and once when it clears, not every second."""

from __future__ import annotations

from collections.abc import Callable, Mapping

ALARMING = "store"
"""A fault in one of these may cost the step being ridden."""


class Watch:
    """The last reported fault of each part."""

    def __init__(self, notice: Callable[[str, str], None]) -> None:
        """notice: level and sentence."""
        self._notice = notice
        self._said: Mapping[str, str] = {}

    def look(self, troubles: Mapping[str, str]) -> dict[str, str]:
        """Report changes; returns the new faults. troubles: a sentence for each part, empty if nothing is wrong."""
        new = {}
        for name in dict.fromkeys((*self._said, *troubles)):
            trouble = troubles.get(name, "")
            if trouble != self._said.get(name, ""):
                if trouble:
                    new[name] = trouble
                level = "info" if not trouble else "alarm" if name == ALARMING else "caution"
                self._notice(level, f"{name}: {trouble or 'all well again'}")
        self._said = dict(troubles)
        return new
