"""Whether the onset lies where the client sits every day: a rider who feels at home there may show it in the hands."""

from __future__ import annotations

from daq.sweep.validity.saying import Number, failed, not_made, passed
from daq.sweep.validity.seen import Seen
from daq.values import Validity


def habit(sweep: Seen) -> Validity:
    """The onset's interval against the setback of every day. It forbids nothing: an onset may well lie there."""
    at_mm, onset_mm, interval = sweep.conditions.habitual_setback_mm, sweep.answer.onset_mm, sweep.answer.interval_95_mm
    if sweep.conditions.dummy:
        return not_made("habit", "habit not looked at: a dummy rides, which has none")
    if at_mm is None:
        return not_made("habit", "habit not known: the client's own setback was not entered", "enter its setback")
    if onset_mm is None or interval is None:
        return not_made("habit", "habit not looked at: there is no onset to compare with")
    number = Number(onset_mm - at_mm, "mm", (interval[0] - at_mm, interval[1] - at_mm))
    if not interval[0] <= at_mm <= interval[1]:
        return passed("habit", f"the client's own setback, {at_mm:g} mm, lies outside the interval", number)
    return failed(
        "habit",
        f"the onset lies where the client sits every day, at {at_mm:g} mm: habit alone can make the hands heavier "
        "forward of it",
        "repeat the sweep with the order shuffled, a sham step, and the rider not knowing the setback",
        number,
        forbids=False,
    )
