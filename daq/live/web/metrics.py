"""The daemon's state, as text for a monitor: the exposition format of Prometheus, version 0.0.4."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"
LOSSES = ("dropped", "damaged", "late")


def exposed(sources: Sequence[dict[str, Any]], *, store_takes: bool, pages: int) -> str:
    """The text. sources: as daq.live.telling.view.sources gives them. No label holds anything a person typed."""
    named = [(source["name"], source) for source in sources]
    losses = [(f'source="{name}",how="{how}"', source[how]) for name, source in named for how in LOSSES]
    return "".join(
        (
            _metric("source_live", "gauge", "1 while the sensor sends.", _each(named, lambda s: s["state"] == "live")),
            _metric("source_age_seconds", "gauge", "Since it last sent.", _each(named, lambda s: s["age_s"])),
            _metric("source_rate_hertz", "gauge", "Scans or notifications.", _each(named, lambda s: s["rate_hz"])),
            _metric("source_lost_total", "counter", "Scans or frames that did not arrive well.", losses),
            _metric("store_takes", "gauge", "1 while the store takes data.", [("", store_takes)]),
            _metric("pages", "gauge", "Screens connected.", [("", pages)]),
        )
    )


def _each(named: Sequence[tuple[str, dict[str, Any]]], value: Any) -> list[tuple[str, Any]]:
    return [(f'source="{name}"', value(source)) for name, source in named]


def _metric(name: str, kind: str, words: str, values: Sequence[tuple[str, Any]]) -> str:
    lines = [f"# HELP foreaft_{name} {words}", f"# TYPE foreaft_{name} {kind}"]
    for labels, value in values:
        number = "NaN" if value is None else repr(float(value))
        lines.append(f"foreaft_{name}{{{labels}}} {number}" if labels else f"foreaft_{name} {number}")
    return "\n".join(lines) + "\n"
