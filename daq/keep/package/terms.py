"""The terms of use of exported data, and its contributors. Pure."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from daq.text import checked_line


@dataclass(frozen=True, slots=True)
class Licence:
    """Terms of use. name: an Open Definition identifier."""

    name: str
    title: str
    path: str = ""

    def property(self) -> dict[str, str]:
        """As a data package has it."""
        return {"name": self.name, "title": self.title, **({"path": self.path} if self.path else {})}


CLOSED = Licence("other-closed", "Not released: for the agreed purpose only")
FREE = Licence("CC0-1.0", "Creative Commons Zero 1.0", "https://creativecommons.org/publicdomain/zero/1.0/")
"""For simulated sweeps, which belong to nobody."""
LICENCES = {
    one.name: one
    for one in (
        FREE,
        Licence("CC-BY-4.0", "Creative Commons Attribution 4.0", "https://creativecommons.org/licenses/by/4.0/"),
        Licence("ODC-BY-1.0", "Open Data Commons Attribution 1.0", "https://opendatacommons.org/licenses/by/1-0/"),
        Licence("ODbL-1.0", "Open Data Commons Open Database 1.0", "https://opendatacommons.org/licenses/odbl/1-0/"),
        CLOSED,
    )
}
_CONTRIBUTOR = re.compile(r"(?P<title>[^<>]+?)\s*(?:<(?P<path>https?://[^\s<>]+)>)?")


def contributor(words: str) -> dict[str, Any]:
    """`Ada Quill <https://orcid.org/0000-0002-1825-0097>` as a data package has it; the address may be left out.

    ValueError for anything else.
    """
    found = _CONTRIBUTOR.fullmatch(checked_line(words).strip())
    if found is None:
        raise ValueError(f"expected a name, and perhaps an address as <https://...>, got {words!r}")
    return {name: value for name, value in found.groupdict().items() if value}
