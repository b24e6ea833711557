"""The page the client takes home, as HTML for the browser to print: everything escaped, nothing computed here."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from daq.fit.case import Case, Evidence
from daq.fit.disturbers import Disturbs
from daq.fit.explaining import UNKNOWN, sentence
from daq.fit.intake import both_references_mm, clinician_advice
from daq.fit.overlaid import differences
from daq.fit.stepping import over_bb_mm
from daq.keep.again.report_drawings import legend, onset_drawing, shares_at, supports_drawing
from daq.measure.geometry import setback_against_gravity_mm, tilt_deg_of
from daq.values import Verdict

CLIMB_PCT = 4.5
"""The climb a setback against gravity is also printed for."""

VERDICTS = {
    Verdict.LIGHT: "the hands are light throughout",
    Verdict.LOADED: "the hands are loaded throughout",
    Verdict.RISE_SEEN: "a rise was seen, but the effort was not measured",
    Verdict.UNDECIDED: "it is undecided",
}
LONG = 300
"""Letters of a reason from which on it is printed small."""

_PAGES = Environment(
    loader=FileSystemLoader(Path(__file__).parent),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
_PAGES.filters["minus"] = lambda text: re.sub(r"(^|[\s(;])-(?=\d)", "\\1\N{MINUS SIGN}", text)


def printed(case: Case, evidence: Evidence, earlier: Case | None = None) -> str:
    """The page as HTML; earlier: the visit that the evidence lays beside this one."""
    curves = (*case.sweeps, *evidence.earlier)
    return _PAGES.get_template("report.html").render(
        case=case,
        evidence=evidence,
        decision=case.decision,
        answer=None if evidence.main is None else evidence.main.onset,
        climb=None if evidence.climb is None else evidence.climb.onset,
        sentence=sentence(case, evidence),
        unknown=UNKNOWN,
        advice=clinician_advice(case.intake),
        places=_places(case, evidence),
        chart=onset_drawing(curves, evidence),
        legend=legend(curves),
        against=list(dict.fromkeys(text for one in evidence.against for text in one.said)),
        differences=() if earlier is None else differences(case.intake, earlier.intake),
        picture=_picture(case, evidence),
        disturbing=[one for one in evidence.disturbers if one.disturbs is not Disturbs.IN_ORDER],
        climb_pct=CLIMB_PCT,
        VERDICTS=VERDICTS,
        LONG=LONG,
    )


def _picture(case: Case, evidence: Evidence) -> str:
    if evidence.main is None or evidence.chosen_mm is None:
        return ""
    found = shares_at(evidence.main, case.rig, evidence.chosen_mm)
    return "" if found is None else supports_drawing(found)


def _places(case: Case, evidence: Evidence) -> list[dict[str, Any]]:
    """The present and the new place of the saddle, in both references and both frames. mm."""
    saddle, measured, decision = case.intake.saddle, case.measured, case.decision
    height_mm = measured.height_mm or saddle.height_mm
    rows: list[tuple[str, float | None, float | None, float | None, float | None]]
    rows = [("was", evidence.present_mm, saddle.height_mm, saddle.tilt_deg, None)]
    if decision is not None:
        tilt = measured.saddle_tilt_deg if decision.saddle_tilt_deg is None else decision.saddle_tilt_deg
        rows.append(("new", decision.setback_mm, decision.height_mm or height_mm, tilt, decision.reach_mm))
    return [
        {
            "name": name,
            "nose_mm": None if setback_mm is None else both_references_mm(saddle, setback_mm)[0],
            "width_mm": None if setback_mm is None else both_references_mm(saddle, setback_mm)[1],
            "gravity_mm": _against_gravity_mm(setback_mm, height),
            "height_mm": height,
            "tilt_deg": tilt_deg,
            "reach_mm": reach_mm,
        }
        for name, setback_mm, height, tilt_deg, reach_mm in rows
    ]


def _against_gravity_mm(setback_mm: float | None, height_mm: float | None) -> float | None:
    """On a climb of CLIMB_PCT; the height along the seat tube taken as one over the BB."""
    if setback_mm is None or height_mm is None:
        return None
    return setback_against_gravity_mm(setback_mm, over_bb_mm(height_mm), tilt_deg_of(CLIMB_PCT))
