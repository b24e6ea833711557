"""Everything written down about one client as a page to print and hand over: words and units instead of field names."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

UNITS = {"mm": "mm", "kg": "kg", "deg": "°", "pct": "%", "n": "N", "w": "W", "rpm": "rpm", "min": "min", "nm": "N m"}
KINDS = {
    "intake": "Intake",
    "measured": "Measured that day",
    "decision": "Decision",
    "follow-up": "Follow-up",
    "override": "Gone on without a check",
    "sweep": "Sweep ridden",
}
"""Headings of notes; one of another kind has its own name. An intake as it was typed is in the files only."""
TYPED = "begun-intake"
WORDS = {
    "cleared": "warning signs asked about, answered no",
    "sweep_id": "its number",
    "bb_drop_mm": "bottom bracket below the axles",
    "com_x_mm": "its own centre of mass ahead of the bottom bracket",
    "com_y_mm": "its own centre of mass above the bottom bracket",
    "nose_to_width_mm": "nose to 80 mm width",
    "reference": "setback measured to the",
    "recheck_on": "re-check on",
    "traded": "given up for it",
    "said": "what was seen",
    "title": "name of the check",
}
"""Fields whose own name does not say it."""
AGREED = {"service": "the fitting and its records", "research": "use in studies", "images": "pictures"}


def own_page(kept: Mapping[str, Any]) -> str:
    """The page of what daq.keep.package.own_data.kept_about gives: of each kind of note a visit's last one, of sweeps
    and checks all."""
    visits = [{**visit, "notes": list(_shown(visit["notes"]))} for visit in kept["visits"]]
    return _PAGES.get_template("own_page.html").render(kept=kept, visits=visits, agreed=AGREED) + "\n"


def _shown(notes: list[Mapping[str, Any]]) -> Iterator[dict[str, Any]]:
    last = {note["kind"]: note["id"] for note in notes}
    for note in notes:
        kind = note["kind"]
        if kind != TYPED and (kind in ("sweep", "override") or last[kind] == note["id"]):
            rows = [*_rows(note["content"])] if isinstance(note["content"], Mapping) else [("", str(note["content"]))]
            yield {"title": KINDS.get(kind, kind), "made_utc": note["made_utc"], "rows": rows}


def _rows(content: Mapping[str, Any], within: str = "") -> Iterator[tuple[str, str]]:
    """(words, value) of everything that was answered, nested answers under their heading."""
    for name, value in content.items():
        words, unit = _spoken(name)
        told = f"{within}, {words}" if within else words
        if isinstance(value, Mapping):
            yield from _rows(value, told)
        elif value not in (None, "", [], ()):
            yield told, _said(value, unit)


def _spoken(name: str) -> tuple[str, str]:
    stem, _, last = name.rpartition("_")
    if name in WORDS:
        return WORDS[name], UNITS.get(last, "") if stem else ""
    words, unit = (stem, UNITS[last]) if stem and last in UNITS else (name, "")
    return words.replace("_", " "), unit


def _said(value: Any, unit: str) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return "; ".join(_said(each, unit) for each in value)
    if isinstance(value, Mapping):
        return ", ".join(f"{words} {said}" for words, said in _rows(value))
    if isinstance(value, int | float):
        return f"{value:g} {unit}".replace(" °", "°").strip()
    return value if isinstance(value, str) else json.dumps(value)


_PAGES = Environment(loader=FileSystemLoader(Path(__file__).parent), autoescape=True, undefined=StrictUndefined)
