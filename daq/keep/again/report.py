"""The page the client takes home, as HTML for the browser to print: everything is escaped, nothing is computed here."""

from __future__ import annotations

from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from daq.fit.case import Case, Evidence, day_of
from daq.fit.confounders import Disturbs
from daq.fit.days import Days
from daq.fit.days_words import in_words, said_of
from daq.fit.explaining import sentence, unknown
from daq.fit.intake import both_references_mm, clinician_advice
from daq.fit.options import SaddleAndBar
from daq.fit.overlaid import differences
from daq.fit.proposal import CLIMB_PCT
from daq.fit.stepping import over_bb_mm
from daq.fit.window import window_said
from daq.keep.again.report_drawings import legend, onset_drawing
from daq.keep.again.strip_drawing import strip_drawing
from daq.measure.geometry import setback_against_gravity_mm, tilt_deg_of
from daq.sweep.validity.figures import ENDED, figure
from daq.values import Verdict
from daq.words import with_minus_signs

VERDICTS = {
    Verdict.LIGHT: "the hands are light throughout",
    Verdict.LOADED: "the hands are loaded throughout",
    Verdict.RISE_SEEN: "a rise was seen, but the effort was not measured",
    Verdict.UNDECIDED: "it is undecided",
}
MOST_LEANINGS = 6
"""The number of lines of evidence for either direction that fit on the page; complaints come first."""
LONG = 300
"""A reason with more characters than this is printed small."""

_PAGES = Environment(
    loader=FileSystemLoader(Path(__file__).parent),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
_PAGES.filters["day"] = in_words
_PAGES.filters["minus"] = with_minus_signs


def printed(case: Case, evidence: Evidence, earlier: Case | None = None, foretold: Days | None = None) -> str:
    """The page as HTML; earlier: the visit that the evidence compares with this one. foretold: what all tests say of
    another day."""
    curves = (*case.sweeps, *evidence.earlier)
    new = _new(case, evidence)
    return _PAGES.get_template("report.html").render(
        case=case,
        evidence=evidence,
        decision=case.decision,
        day=day_of(case),
        new=new,
        tilt_deg=_tilt_deg(case),
        bar_above="" if new is None or new.bar_y_mm is None else f"{new.bar_y_mm:.0f} above the BB",
        other_ways=() if new is None else _other_ways(case, evidence, new),
        stages=() if evidence.chosen is None else evidence.chosen.stages,
        strip=None if new is None else strip_drawing(evidence.present_mm, new.setback_mm),
        answer=None if evidence.main is None else evidence.main.onset,
        climb=None if evidence.climb is None else evidence.climb.onset,
        sentence=sentence(case, evidence),
        to_choose="" if evidence.window_mm is None else window_said(evidence.window_mm),
        unknown=unknown(evidence),
        advice=clinician_advice(case.intake),
        tests=_tests(evidence),
        chart=onset_drawing(curves, evidence),
        legend=legend(curves),
        leanings=evidence.leanings[:MOST_LEANINGS],
        foretold=() if foretold is None else said_of(foretold, None if new is None else new.setback_mm),
        care=_care(case, evidence),
        against=list(dict.fromkeys(text for one in evidence.against for text in one.said)),
        differences=() if earlier is None else differences(case.intake, earlier.intake),
        VERDICTS=VERDICTS,
        LONG=LONG,
    )


def _tests(evidence: Evidence) -> list[tuple[str, str, str, str]]:
    """Every test of the answer's validity: its name, how it ended, its number, what it means."""
    answer = None if evidence.main is None else evidence.main.onset
    found = () if answer is None else answer.validity
    return [(one.test, ENDED[one.result], figure(one), one.means) for one in found]


def _new(case: Case, evidence: Evidence) -> SaddleAndBar | None:
    """Saddle and bar as decided, or as ridden there if nothing else was decided."""
    decision, chosen = case.decision, evidence.chosen
    if decision is None or chosen is None:
        return None
    there = chosen.place
    return SaddleAndBar(
        decision.setback_mm,
        there.height_mm if decision.height_mm is None else decision.height_mm,
        there.bar_x_mm if decision.bar_x_mm is None else decision.bar_x_mm,
        there.bar_y_mm if decision.bar_y_mm is None else decision.bar_y_mm,
    )


def _tilt_deg(case: Case) -> float | None:
    said = (
        None if case.decision is None else case.decision.saddle_tilt_deg,
        case.measured.saddle_tilt_deg,
        case.intake.saddle.tilt_deg,
    )
    return next((tilt_deg for tilt_deg in said if tilt_deg is not None), None)


def _other_ways(case: Case, evidence: Evidence, new: SaddleAndBar) -> list[tuple[str, float, float | None]]:
    """The same position in other terms: label, new and old, mm."""
    saddle, was = case.intake.saddle, evidence.present
    other = 1 if saddle.reference == "nose" else 0
    now_mm = both_references_mm(saddle, new.setback_mm)[other]
    then_mm = None if was is None else both_references_mm(saddle, was.setback_mm)[other]
    found = [] if now_mm is None else [(("At the nose", "At the 80 mm width")[other], now_mm, then_mm)]
    gravity_mm = _against_gravity_mm(new)
    if gravity_mm is not None:
        before_mm = None if was is None else _against_gravity_mm(was)
        found.append((f"Against gravity on a {CLIMB_PCT:g} % climb", gravity_mm, before_mm))
    reach_mm = case.decision.reach_mm if case.decision is not None else None
    if reach_mm is not None:
        found.append(("Saddle to bar", reach_mm, None))
    return found


def _care(case: Case, evidence: Evidence) -> list[str]:
    """What a reader has to know besides the numbers."""
    overridden = [
        f"gone on without {one['title'].lower()} ({one['said']}). Reason: {one['reason']}" for one in case.overrides
    ]
    hurt = [f"Pain or numbness while riding: {pain.said}" for sweep in case.sweeps for pain in sweep.pains]
    disturbing = [one for one in evidence.confounders if one.disturbs is not Disturbs.IN_ORDER]
    told = [f"{one.title}, {one.disturbs}: {one.said}" for one in disturbing]
    return [*hurt, *evidence.differs, *overridden, *evidence.cautions, *told]


def _against_gravity_mm(place: SaddleAndBar) -> float | None:
    """On a climb of CLIMB_PCT; the height along the seat tube is taken as a vertical height over the BB."""
    if place.height_mm is None:
        return None
    return setback_against_gravity_mm(place.setback_mm, over_bb_mm(place.height_mm), tilt_deg_of(CLIMB_PCT))
