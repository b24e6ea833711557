"""One visit with everything in it, and the evidence for the fitter. Pure: it is read elsewhere."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from daq.fit.confirming import Confirmed, again, confirmed, last_confirmed_mm
from daq.fit.confounders import Confounder, confounders
from daq.fit.days import Days
from daq.fit.decision import Decision, FollowUp
from daq.fit.intake import Intake
from daq.fit.leanings import Leaning, NotSeen, leanings, not_seen
from daq.fit.on_bicycle import OnBicycle, com_height_said, on_bicycle
from daq.fit.options import Option, SaddleAndBar, differences, option_at, options, place_at
from daq.fit.overlaid import Against, against
from daq.fit.prechecks import Measured
from daq.fit.reaching import Reaching, reaching
from daq.fit.ridden import Ridden, gradient_sweep, looking, main_sweep
from daq.fit.saddle_signs import signs
from daq.fit.sides import Sided, sides
from daq.fit.sign import Sign
from daq.fit.step_table import StepRow, step_table
from daq.fit.suggested import Suggested, suggested
from daq.fit.window import Window, cautions_at, window_mm
from daq.rig import Rig
from daq.sweep.spreads import JUDGED, Spreads


@dataclass(frozen=True, slots=True)
class Case:
    """A visit."""

    visit_id: int
    begun_utc: str
    pseudonym: str
    rig: Rig
    simulated: bool
    software: str
    calibration_ids: tuple[str, ...]
    intake: Intake
    measured: Measured
    overrides: tuple[Mapping[str, Any], ...]
    """check, title, said, reason."""
    sweeps: tuple[Ridden, ...]
    decision: Decision | None = None
    follow_up: FollowUp | None = None
    nth: int = 1
    """Which visit of the client it is, counted from 1."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """The evidence for one setback."""

    main: Ridden | None
    climb: Ridden | None
    present_mm: float | None
    chosen_mm: float | None
    """The setback the fitter is considering, has decided or has confirmed by riding, or the suggested one; in this
    order."""
    window_mm: Window | None
    """Foremost and rearmost setback to choose from: the suggested one and further back."""
    places: tuple[OnBicycle, ...]
    """At the present setback and at the chosen one, if they are known."""
    signs: tuple[Sign, ...]
    confounders: tuple[Confounder, ...]
    cautions: tuple[str, ...]
    differs: tuple[str, ...]
    """What was decided differently from how it was ridden."""
    leanings: tuple[Leaning, ...]
    """What speaks for further forward, and what for further back."""
    not_seen: tuple[NotSeen, ...]
    present: SaddleAndBar | None
    """Where the client rides now, with the bar as on the jig at that setback; the height as the client came."""
    chosen: Option | None
    """What goes with the chosen setback."""
    reaching: Reaching
    """Whether the client's own bicycle can reach the chosen setback."""
    steps: tuple[StepRow, ...]
    """Of the main sweep."""
    sides: tuple[Sided, ...]
    against: tuple[Against, ...]
    """The day's other sweeps, and those of an earlier visit, against the main one."""
    earlier: tuple[Ridden, ...]
    """Sweeps of an earlier visit, named with their day."""
    com_height: str
    confirmed: tuple[Confirmed, ...] = ()
    """The chosen place and the present one ridden against each other."""
    suggested: Suggested | None = None
    """None where no onset is named."""


def evidence_of(
    case: Case,
    thought_of_mm: float | None = None,
    earlier: Case | None = None,
    scatter: Spreads = JUDGED,
    foretold: Days | None = None,
) -> Evidence:
    """All evidence for the setback the fitter is considering, or else the decided or suggested one. earlier: another
    visit of the same client to compare with. scatter: how far sweeps of an unchanged rider lie apart. foretold: what
    all tests of the client say of another day.
    """
    main, climb = main_sweep(case.sweeps), gradient_sweep(case.sweeps)
    main = None if main is None else replace(main, again=again(case.sweeps))
    proposed = suggested(main, foretold)
    present_mm, chosen_mm = case.intake.saddle.setback_mm, _chosen_mm(case, proposed, thought_of_mm)
    before = () if earlier is None else tuple(one.on(earlier.begun_utc[:10]) for one in earlier.sweeps)
    at_mm = [mm for mm in dict.fromkeys((present_mm, chosen_mm)) if mm is not None]
    places = tuple(on_bicycle(main, case.rig, case.intake.bicycle, mm) for mm in at_mm) if main is not None else ()
    chosen = (
        None
        if chosen_mm is None
        else option_at(main, proposed, case.rig, case.intake, case.measured, chosen_mm, day_of(case))
    )
    decided_here = chosen is not None and case.decision is not None and case.decision.setback_mm == chosen_mm
    seen = signs(
        case.intake,
        case.rig,
        level=main,
        climb=climb,
        here=places[0] if places and present_mm is not None else None,
        present_mm=present_mm,
        window=window_mm(main, proposed),
        scatter=scatter,
    )
    return Evidence(
        main=main,
        climb=climb,
        present_mm=present_mm,
        chosen_mm=chosen_mm,
        window_mm=window_mm(main, proposed),
        places=places,
        signs=seen,
        confounders=confounders(case.intake, case.measured, main),
        cautions=cautions_at(main, proposed, chosen_mm=chosen_mm, present_mm=present_mm),
        differs=differences(case.decision, chosen.place) if decided_here and case.decision and chosen else (),
        leanings=leanings(case.intake, seen, too_far_forward=_too_far_forward(main, present_mm)),
        not_seen=not_seen(case.intake, seen, climbed=climb is not None),
        present=None if present_mm is None else _present(case, main, present_mm),
        chosen=chosen,
        reaching=Reaching(None, "no setback is chosen yet") if chosen is None else _reaching(case, chosen),
        steps=() if main is None else step_table(main, case.rig, case.intake.saddle),
        sides=() if main is None else sides(main, case.rig),
        against=(
            *against(main, looking(case.sweeps), scatter),
            *against(main, looking(before), scatter, same_visit=False),
        ),
        earlier=before,
        com_height=com_height_said(main, climb, case.rig),
        confirmed=confirmed(case.sweeps, case.rig, case.intake.bicycle, present_mm=present_mm, chosen_mm=chosen_mm),
        suggested=proposed,
    )


def day_of(case: Case) -> datetime.date:
    """The day of the visit, UTC, on which the first stage is set."""
    return datetime.date.fromisoformat(case.begun_utc[:10])


def options_of(case: Case, evidence: Evidence) -> tuple[Option, ...]:
    """What goes with every setback that can be chosen."""
    also_mm = [mm for mm in (evidence.present_mm, evidence.chosen_mm) if mm is not None]
    return options(
        evidence.main, evidence.suggested, case.rig, case.intake, case.measured, day=day_of(case), also_mm=also_mm
    )


def _present(case: Case, main: Ridden | None, present_mm: float) -> SaddleAndBar:
    ridden = place_at(main, case.rig, case.intake, case.measured, present_mm)
    return replace(ridden, height_mm=case.intake.saddle.height_mm or ridden.height_mm)


def _reaching(case: Case, chosen: Option) -> Reaching:
    """At the height decided, where one was."""
    decided = None if case.decision is None else case.decision.height_mm
    if decided is None:
        return chosen.reaching
    return reaching(case.intake.post, case.intake.saddle, chosen.place.setback_mm, decided)


def _too_far_forward(main: Ridden | None, present_mm: float | None) -> bool:
    named = None if main is None else main.named
    if named is None or named.interval_95_mm is None or present_mm is None:
        return False
    return present_mm < named.interval_95_mm[0]


def _chosen_mm(case: Case, proposed: Suggested | None, thought_of_mm: float | None) -> float | None:
    if thought_of_mm is not None:
        return thought_of_mm
    if case.decision is not None:
        return case.decision.setback_mm
    if (again_mm := last_confirmed_mm(case.sweeps, case.intake.saddle.setback_mm)) is not None:
        return again_mm
    return None if proposed is None else proposed.setback_mm
