"""A certificate as a page to print: one HTML file that needs nothing else, its plots drawn here.

It says what `daq.measure.calibration.certificate` says and adds nothing. Whatever was typed is escaped.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from html import escape
from typing import Any

from daq.live.bench.residual_plot import residual_plot
from daq.measure.calibration.validity import moment

HEAD = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>{title}</title>{style}</head><body>"""
COVERAGE = (
    "The load lies within the expanded uncertainty with a probability of about 95 %: standard uncertainty times the "
    "coverage factor, Student's t for the effective degrees of freedom (JCGM 100). It holds for one cell, counted from "
    "a zero of the empty jig."
)
LINK = '<link rel="icon" href="/icon.svg" type="image/svg+xml"><link rel="stylesheet" href="/certificate.css">'


def certificate_page(content: Mapping[str, Any], *, css: str | None = None) -> str:
    """The page. css: the style written into it; None links the daemon's own style sheet."""
    name = content["calibration"]
    parts = [
        HEAD.format(title=escape(f"Calibration {name}"), style=LINK if css is None else f"<style>{css}</style>"),
        f"<h1>Calibration <span>{escape(name)}</span></h1>",
        *(f'<p class="statement">{escape(sentence)}</p>' for sentence in content["statements"]),
        _about(content),
        *(_cell(cell) for cell in content["cells"]),
        _crosstalk(content["crosstalk"]),
        _accepted(content),
        _readings(content["readings"]),
        "<p class='sign'>Date, signature</p></body></html>\n",
    ]
    return "\n".join(parts)


def _about(content: Mapping[str, Any]) -> str:
    who, reference = content["circumstances"], content["reference"]
    temperature = who["temperature_degc"]
    return _pairs(
        ("Made by", who["made_by"]),
        ("Made", _moment(content["made_utc"])),
        ("Valid until", _moment(content["valid_until_utc"])),
        ("Place", who["place"]),
        ("Temperature", None if temperature is None else f"{temperature:.1f} °C"),
        ("Instrument", who["instrument"]),
        (
            "Reference",
            f"{reference['weights']}, standard uncertainty {reference['relative_standard_uncertainty']:.2g} of a load",
        ),
        ("Gravity", _gravity(reference)),
        ("Loads", _loads(content["cells"])),
        ("Air buoyancy", reference.get("buoyancy")),
        ("Left out", ", ".join(content["left_out"])),
        ("Remarks", who["remarks"]),
    )


def _moment(utc: str) -> str:
    return f"{moment(utc):%Y-%m-%d %H:%M} UTC"


def _gravity(reference: Mapping[str, Any]) -> str | None:
    if "gravity_m_s2" not in reference:
        return None
    u_m_s2 = reference["gravity_standard_uncertainty_m_s2"]
    source = f" ({reference['gravity_from']})" if reference.get("gravity_from") else ""
    return f"{reference['gravity_m_s2']:.5f} m/s²{source}, standard uncertainty {u_m_s2:.2g} m/s²"


def _loads(cells: Iterable[Mapping[str, Any]]) -> str:
    """The loads that were put on, each set once."""
    sets = {
        tuple(sorted({round(one["load_n"], 2) for one in cell["points"]} - {0.0})): cell["channel"] for cell in cells
    }
    if len(sets) == 1:
        return _listed(next(iter(sets)))
    return "; ".join(f"{cell}: {_listed(loads)}" for loads, cell in sets.items())


def _listed(loads_n: Iterable[float]) -> str:
    return ", ".join(f"{load:.2f}" for load in loads_n) + " N"


def _cell(cell: Mapping[str, Any]) -> str:
    name = escape(cell["channel"])
    figures, tare = cell["figures"], cell["tare"]
    low, high = cell["span_n"] or (0.0, 0.0)
    return "\n".join(
        [
            f"<section><h2>{name}</h2>",
            _pairs(
                ("Span", f"{low:.1f} to {high:.1f} N"),
                ("Newtons from counts", _polynomial(cell["coefficients_n_from_counts"])),
                ("Counts at zero", f"{cell['zero_counts']:.1f}"),
                ("Residual standard deviation", f"{cell['residual_sd_n']:.3g} N"),
                *_described(cell["described"]),
                ("Creep", _creep(figures)),
                ("Minimum dead load output return", _dead_load_return(figures)),
                ("Counts per newton", _counts_per_n(cell)),
                ("Off-axis", None if cell["off_axis_relative"] is None else f"{100 * cell['off_axis_relative']:.2g} %"),
                ("Tilt tare", None if tare is None else _tare(tare)),
            ),
            f"<figure>{residual_plot(cell)}<figcaption>Readings less loads. Lines: {escape(cell['limits_are'])}."
            "</figcaption></figure>",
            "<h3>Expanded uncertainty</h3>",
            f"<p>{escape(COVERAGE)}</p>",
            _table(
                ("load, N", "expanded, N", "coverage factor", "degrees of freedom"),
                (
                    (
                        f"{line['load_n']:.1f}",
                        f"{line['expanded_n']:#.2g}",
                        f"{line['coverage_factor']:.2f}",
                        "∞" if line["degrees_of_freedom"] is None else f"{line['degrees_of_freedom']:.0f}",
                    )
                    for line in cell["expanded"]
                ),
            ),
            f"<h3>Budget at {cell['budget_at_n']:.1f} N</h3>",
            _table(
                ("source", "standard uncertainty, N", "part of variance", "distribution", "dof", "from"),
                (
                    (
                        line["source"],
                        f"{line['standard_uncertainty_n']:#.2g}",
                        f"{100.0 * line['part_of_variance']:.1f} %",
                        line["distribution"],
                        "∞" if line["degrees_of_freedom"] is None else f"{line['degrees_of_freedom']:.0f}",
                        line["note"],
                    )
                    for line in cell["budget"]
                ),
            ),
            "</section>",
        ]
    )


def _creep(figures: Mapping[str, Any]) -> str:
    source = f" ({figures['creep_from']})" if figures.get("creep_from") else ""
    return f"{100.0 * figures['creep_relative']:.2g} % of the load{source}"


def _dead_load_return(figures: Mapping[str, Any]) -> str | None:
    """After the creep test; None where its zero was not read again."""
    found = figures.get("dead_load_return")
    return None if found is None else f"{100.0 * found:.2g} % of the rated output (zero after the creep test)"


def _counts_per_n(cell: Mapping[str, Any]) -> str | None:
    """What was found beside what was expected; certificates made before both were kept say nothing of it."""
    if "counts_per_n" not in cell:
        return None
    found, expected = cell["counts_per_n"], cell["expected_counts_per_n"]
    if expected is None:
        return f"{found:.6g}; nothing to hold it against, so a mix-up of units in all loads would not have shown"
    return f"{found:.6g}, {100.0 * (found / expected - 1.0):+.2f} % from the {expected:.6g} expected"


def _described(found: Mapping[str, float]) -> Iterable[tuple[str, str]]:
    """In the words of OIML R60 and ISO 376, of the rated output: that of the highest load."""
    for key, words in (
        ("non_linearity", "Non-linearity"),
        ("hysteresis", "Hysteresis"),
        ("combined_error", "Combined error"),
        ("repeatability", "Repeatability"),
        ("zero_return", "Zero return over a series"),
    ):
        yield words, f"{100.0 * found[key]:#.2g} % of the rated output"


def _polynomial(coefficients: Iterable[float]) -> str:
    powers = ("", " c", " c²", " c³")
    return " ".join(f"{value:+.9g}{power}" for value, power in zip(coefficients, powers, strict=False))


def _tare(tare: Mapping[str, Any]) -> str:
    low, high = tare["covered_deg"]
    cosine = f"{tare['cosine_n']:.3g} N (cos t − 1) + " if tare["cosine_n"] else ""
    return (
        f"{cosine}{tare['sine_n']:.3g} N sin t, covered {low:z.1f} to {high:z.1f}°, "
        f"scatter {tare['residual_sd_n']:.2g} N"
    )


def _crosstalk(found: Mapping[str, Any] | None) -> str:
    if found is None:
        return "<section><h2>Cross-talk</h2><p>Not measured: a load on one cell may show on another.</p></section>"
    cells, largest = found["cells"], found["largest"]
    rows = (
        (cell, *(f"{100.0 * value:+z.3f} %" for value in row))
        for cell, row in zip(cells, found["shown_per_load"], strict=True)
    )
    return (
        "<section><h2>Cross-talk</h2><p>What each cell (row) shows of a load on each cell (column). Largest: "
        f"{100.0 * largest['fraction']:.2g} % of a load on {escape(largest['load_on'])} shows on "
        f"{escape(largest['shows_on'])}. Corrected.</p>{_table(('shows on', *cells), rows)}</section>"
    )


def _accepted(content: Mapping[str, Any]) -> str:
    accepted = content["accepted_against"]
    if not accepted:
        return ""
    items = "".join(f"<li>{escape(one['reading'])}: {escape(one['finding'])}</li>" for one in accepted)
    return f"<section><h2>Accepted against a finding</h2><ul>{items}</ul></section>"


def _readings(readings: Iterable[Mapping[str, Any]]) -> str:
    rows = (
        (
            one["task"],
            _asked(one),
            f"{moment(one['at_utc']):%Y-%m-%d %H:%M:%S}",
            ", ".join(f"{counts:.0f}" for counts in one["counts"]),
            f"{one['seconds']:.1f}",
            "replaced" if one["replaced"] else "",
        )
        for one in readings
    )
    head = ("reading", "asked", "when, UTC", "mean counts of all channels", "seconds", "")
    return f"<section class='readings'><h2>Readings</h2>{_table(head, rows)}</section>"


def _asked(reading: Mapping[str, Any]) -> str:
    """Load, place and tilt of a reading; certificates made before they were kept there leave it empty."""
    tilt_deg = reading.get("tilt_deg")
    load = f"{reading['load_n']:.2f} N" if reading.get("load_n") else ""
    return ", ".join(filter(None, (load, reading.get("place", ""), "" if tilt_deg is None else f"{tilt_deg:g}°")))


def _pairs(*pairs: tuple[str, str | None]) -> str:
    rows = "".join(f"<dt>{escape(name)}</dt><dd>{escape(value)}</dd>" for name, value in pairs if value)
    return f"<dl>{rows}</dl>"


def _table(head: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    top = "".join(f'<th scope="col">{escape(cell)}</th>' for cell in head)
    body = "".join("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in rows)
    return f"<table><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table>"
