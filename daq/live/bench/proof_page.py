"""A proof's certificate as one self-contained HTML file."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined


def proof_page(content: Mapping[str, Any], *, css: str | None = None) -> str:
    """The page. css: the style written into it; None links the daemon's own style sheet."""
    pages = Environment(loader=FileSystemLoader(Path(__file__).parent), autoescape=True, undefined=StrictUndefined)
    return pages.get_template("proof.html").render(**content, css=css) + "\n"
