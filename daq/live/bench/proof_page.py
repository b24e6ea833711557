"""A proof's certificate as one self-contained HTML file."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from daq.measure.calibration.status import moment
from daq.words import with_minus_signs


def proof_page(content: Mapping[str, Any], *, css: str | None = None) -> str:
    """The page. css: the style written into it; None links the daemon's own style sheet."""
    return _PAGES.get_template("proof.html").render(**content, css=css) + "\n"


_PAGES = Environment(loader=FileSystemLoader(Path(__file__).parent), autoescape=True, undefined=StrictUndefined)
_PAGES.filters.update(
    {
        "minus": with_minus_signs,
        "minute": lambda utc: f"{moment(utc):%Y-%m-%d %H:%M} UTC",
    }
)
