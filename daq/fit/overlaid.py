"""Sweeps compared in words: level and climb, before and after, two saddles, this visit and an earlier one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from daq.fit.intake import Intake
from daq.fit.ridden import Ridden
from daq.fit.stepping import over_bb_mm
from daq.measure.geometry import setback_against_gravity_mm, tilt_deg_of
from daq.sweep.comparison import compare
from daq.sweep.spreads import JUDGED, Spreads

MASS_KG = 1.0
"""A rider heavier or lighter by more than this loads hands and saddle differently. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Against:
    """One sweep compared with the one the decision rests on."""

    name: str
    said: tuple[str, ...]


def against(
    main: Ridden | None, others: Sequence[Ridden], scatter: Spreads = JUDGED, *, same_visit: bool = True
) -> tuple[Against, ...]:
    """Every other sweep compared with the main one; one whose verdict was withheld is not compared,
    nor one in which no onset is looked for. scatter: how far
    sweeps of an unchanged rider lie apart."""
    if main is None:
        return ()
    return tuple(
        Against(other.name, _said(main, other, scatter, same_visit))
        for other in others
        if other.sweep_id != main.sweep_id and other.plan.names_onset
    )


def _said(main: Ridden, other: Ridden, scatter: Spreads, same_visit: bool) -> tuple[str, ...]:
    without = [one.name for one in (main, other) if one.named is None]
    if without:
        return (f"no difference can be given: no onset is named in {' and '.join(without)}",)
    alike = main.name == other.name
    names = [f"{one.name} (sweep {one.sweep_id})" if alike else one.name for one in (main, other)]
    found = compare(main.steps, other.steps, same_session=same_visit, names=(names[0], names[1]), scatter=scatter)
    return (*found.reasons, *_geometry(main, other))


def _geometry(main: Ridden, other: Ridden) -> tuple[str, ...]:
    """What a gradient does to every rider alike, so that it is not attributed to this one."""
    height_mm, percents = main.plan.start_height_mm, (main.plan.gradient_pct, other.plan.gradient_pct)
    if height_mm is None or percents[0] == percents[1]:
        return ()
    at_mm = [setback_against_gravity_mm(0.0, over_bb_mm(height_mm), tilt_deg_of(pct)) for pct in percents]
    further_mm = at_mm[1] - at_mm[0]
    return (
        f"at {percents[1]:g} % the same setback lies {abs(further_mm):.0f} mm further "
        f"{'back' if further_mm > 0 else 'forward'} against gravity than at {percents[0]:g} %: that is geometry, the "
        "same for every rider",
    )


def differences(now: Intake, earlier: Intake) -> tuple[str, ...]:
    """What differs between two visits, stated beside every difference between their sweeps."""
    found = ["another day: a difference between visits is not by itself what the fitting did"]
    if now.saddle.reference != earlier.saddle.reference:
        found.append(
            f"setback was measured to {earlier.saddle.reference} then and to {now.saddle.reference} now: the curves "
            "stand apart by the distance between the two points"
        )
    for what, a, b in (
        ("saddle", earlier.saddle.name, now.saddle.name),
        ("shoes", earlier.shoes, now.shoes),
        ("bar", earlier.bar, now.bar),
        ("hands on", earlier.hands, now.hands),
    ):
        if a != b:
            found.append(f"{what}: {a or 'not noted'} then, {b or 'not noted'} now")
    if abs(now.mass_kg - earlier.mass_kg) > MASS_KG:
        found.append(f"mass: {earlier.mass_kg:g} kg then, {now.mass_kg:g} kg now")
    return tuple(found)
