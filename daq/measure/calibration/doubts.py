"""What makes a displayed load doubtful, so that it can be stated beside the load at once."""

from __future__ import annotations

import enum
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.measure.calibration.convert import apply, tare_holds
from daq.measure.calibration.model import CalibratedChannel, Calibration
from daq.measure.calibration.points import ENDS_OF_RANGE
from daq.measure.calibration.uncertainty import expanded

BELOW_ZERO_N = 2.0
"""A smaller negative load is noise or a swinging part, whatever the budget says."""
ABOVE_SPAN = 1.05
"""The curve is trusted a little beyond the highest calibrated load, no further."""
ZERO_HOURS = 2.0
"""After that a zero is old; common practice, no source."""


ZERO_FLOOR_N = 0.5
"""A zero that moved by less is not reported, however well the cell is calibrated: at 1.6 N/mm, the rise of an ordinary
rider, it moves an onset by 0.3 mm, and cells return to zero no better. Our own choice."""


class Doubt(enum.StrEnum):
    """Kinds of doubt about one channel."""

    NOT_CALIBRATED = "not-calibrated"
    NO_BUDGET = "no-budget"
    SATURATED = "saturated"
    BELOW_ZERO = "below-zero"
    ABOVE_SPAN = "above-span"
    OUTSIDE_TILTS = "outside-tilts"
    ZERO_MOVED = "zero-moved"
    ZERO_OLD = "zero-old"


@dataclass(frozen=True, slots=True)
class Doubtful:
    """One doubt, with the channel and a sentence for the screen."""

    kind: Doubt
    channel: str
    sentence: str


def doubts_of_loads(
    calibration: Calibration, counts: Sequence[float], zero_counts: Sequence[float] | None = None
) -> tuple[Doubtful, ...]:
    """The doubts about the loads of mean counts (k,), or of a single scan; saturation shows in single scans."""
    values = apply(calibration, np.array([counts], dtype=np.float64), zero_counts)[0]
    found = []
    for channel, reading, value in zip(calibration.channels, counts, values.tolist(), strict=True):
        if channel.kind == "unused":
            found.append(_doubt(Doubt.NOT_CALIBRATED, channel, "not calibrated: what it shows is unknown"))
            continue
        if reading in ENDS_OF_RANGE:
            sentence = "the converter is at the end of its range: take load off, or look at the cell's cable"
            found.append(_doubt(Doubt.SATURATED, channel, sentence))
        if channel.kind == "force":
            found += _of_force(channel, value)
    tilt = [value for channel, value in zip(calibration.channels, values, strict=True) if channel.kind == "tilt"]
    if tilt:
        found += _of_tilt(calibration, float(tilt[0]))
    return tuple(found)


def doubts_of_zero(
    calibration: Calibration, before: Sequence[float], after: Sequence[float], *, hours: float
) -> tuple[Doubtful, ...]:
    """The doubts about a zero taken some hours ago; before, after: counts (k,) of the empty jig then and now.

    A zero has moved when it differs by more than the expanded uncertainty at zero load, and by more than the floor.
    Loads measured between the two are that much more uncertain.
    """
    moved = apply(calibration, np.array([after], dtype=np.float64), before)[0]
    found = []
    for channel, moved_n in zip(calibration.channels, moved.tolist(), strict=True):
        if channel.kind != "force":
            continue
        limit_n = BELOW_ZERO_N if channel.uncertainty is None else expanded(channel.uncertainty, 0.0).expanded_n
        limit_n = max(limit_n, ZERO_FLOOR_N)
        if abs(moved_n) > limit_n:
            sentence = f"the zero has moved by {moved_n:+z.2f} N since it was taken, expected within {limit_n:.2f} N"
            found.append(_doubt(Doubt.ZERO_MOVED, channel, sentence))
        elif hours > ZERO_HOURS:
            found.append(_doubt(Doubt.ZERO_OLD, channel, f"the zero is {hours:.1f} h old: take it again"))
    return tuple(found)


def _of_force(channel: CalibratedChannel, load_n: float) -> list[Doubtful]:
    found = []
    limit_n = BELOW_ZERO_N
    if channel.uncertainty is None:
        found.append(_doubt(Doubt.NO_BUDGET, channel, "calibrated without a budget: its uncertainty is unknown"))
    else:
        limit_n = max(limit_n, expanded(channel.uncertainty, load_n).expanded_n)
    if load_n < -limit_n:
        sentence = f"pulled up by {-load_n:.1f} N: take the zero of the empty jig, or look what hangs on it"
        found.append(_doubt(Doubt.BELOW_ZERO, channel, sentence))
    if channel.span is not None and load_n > ABOVE_SPAN * channel.span[1]:
        sentence = f"{load_n:.0f} N is beyond the {channel.span[1]:.0f} N it was calibrated to"
        found.append(_doubt(Doubt.ABOVE_SPAN, channel, sentence))
    return found


def _of_tilt(calibration: Calibration, tilt_deg: float) -> list[Doubtful]:
    if tare_holds(calibration, [tilt_deg])[0]:
        return []
    return [
        _doubt(
            Doubt.OUTSIDE_TILTS,
            channel,
            f"at {tilt_deg:.1f} deg, outside the tilts of its tare ({channel.tare.covered_deg[0]:.1f} to "
            f"{channel.tare.covered_deg[1]:.1f} deg): take a zero at this tilt, or the tare over more tilts",
        )
        for channel in calibration.forces
        if channel.tare is not None
    ]


def _doubt(kind: Doubt, channel: CalibratedChannel, sentence: str) -> Doubtful:
    return Doubtful(kind, channel.name, f"{channel.name}: {sentence}")
