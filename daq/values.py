"""The few values that travel from the sensors to the verdict.

    Samples   counts, device ticks, host receipt time      wire
    Loads     newtons at hands and saddle, tilt            measure
    Stroke    mean Loads over one crank revolution         measure
    StepMean  mean hand load at one saddle position        sweep
    Onset     the setback where hand load starts to rise   sweep

Signs, once for the whole program:

- setback: horizontal distance from the bottom bracket (BB) back to the saddle's reference point,
  mm, positive behind the BB. The rider comes forward as setback falls.
- jig frame: origin BB, x forward, y along the jig normal (away from the floor), metres. The saddle's x is negative.
- tilt: jig rotation, degrees, positive nose up. gradient = 100 tan(tilt), per cent.
- load: support force ON THE RIDER along +y, newtons, positive when the rider presses down.
- share: a load over the weight along the jig normal, m g cos(tilt); a fraction here, per cent only on screens.
- crank torque: mean over a whole stroke, N m, positive when it drives the bicycle forward.
- time: `t_s` seconds and `_us` microseconds of session time, one monotonic clock that starts at 0 with the session.

Missing is None or NaN, never 0. Arrays are numpy; n scans, k channels.
"""

from __future__ import annotations

import enum
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

Array: TypeAlias = npt.NDArray[np.float64]
Ints: TypeAlias = npt.NDArray[np.int64]
Bools: TypeAlias = npt.NDArray[np.bool_]

NAN = float("nan")

Z_95 = 1.96
"""Half a 95 % interval in standard deviations, normal distribution."""
MAD_TO_SD = 1.4826
"""Median absolute deviation to standard deviation, normal distribution."""
SEAT_TUBE_DEG = 73.5
"""Where it was not measured, and of the simulated jig's slide. Assumption; half a degree is 2 mm at 720 mm."""
UNKNOWN_UTC = "1970-01-01T00:00:00+00:00"
"""Where a date is lost or was never known: so long ago that it counts as old, and nobody takes it for real."""
FEET_SHARE = (0.10, 0.60)
"""A foot share outside these limits means a wrong cell, zero or mass, not an odd rider. Common practice, no source."""


class Status(enum.IntFlag):
    """Status bits a board sets on one scan."""

    SATURATED = 1
    ADC_ERROR = 2
    TARE_BUTTON = 4
    CRANK_MARK = 8


@dataclass(frozen=True, eq=False, slots=True)
class Samples:
    """n scans of one board as they arrived over the wire: the truth, never changed afterwards."""

    source: str
    received_us: Ints
    """(n,) host receipt time, session clock."""
    ticks_us: npt.NDArray[np.uint32]
    """(n,) the board's own clock, wraps after 71.6 minutes."""
    sequence: npt.NDArray[np.uint16]
    status: npt.NDArray[np.uint8]
    counts: npt.NDArray[np.int32]
    """(n, k) converter counts, channels in the order of the board's hello."""

    def __len__(self) -> int:
        return len(self.received_us)


def cut(samples: Samples, which: slice | Bools | Ints) -> Samples:
    """Some of the scans."""
    return Samples(samples.source, *(column[which] for column in _columns(samples)))


def joined(parts: Sequence[Samples]) -> Samples:
    """Consecutive Samples of one source and width, joined into one. A single part is returned as it is."""
    if len(parts) == 1:
        return parts[0]
    columns = zip(*map(_columns, parts), strict=True)
    return Samples(parts[0].source, *(np.concatenate(pieces) for pieces in columns))


def _columns(samples: Samples) -> tuple[Any, ...]:
    return samples.received_us, samples.ticks_us, samples.sequence, samples.status, samples.counts


@dataclass(frozen=True, slots=True)
class PowerReading:
    """One power notification; fields the sensor did not send are None."""

    source: str
    received_us: int
    power_w: float | None = None
    cadence_rpm: float | None = None
    """Only from sensors that send a cadence; otherwise it follows from the crank fields."""
    crank_revs: int | None = None
    """Cumulative, 16 bit."""
    crank_time_1024: int | None = None
    """Time of the last crank event, 1/1024 s, 16 bit."""
    torque_total_32: int | None = None
    """Accumulated torque, 1/32 N m, 16 bit; crank based only."""


@dataclass(frozen=True, eq=False, slots=True)
class Loads:
    """n scans in newtons. Feet are absent: within a stroke they cannot be computed from hands and saddle."""

    t_s: Array
    hands_n: Array
    saddle_n: Array
    tilt_deg: Array
    cells_n: Array
    """(n, k) each calibrated force channel; column names in the rig's cell order."""
    status: npt.NDArray[np.uint8]

    def __len__(self) -> int:
        return len(self.t_s)


@dataclass(frozen=True, slots=True)
class Stroke:
    """One whole crank revolution. Feet are the remainder of the weight: a difference, not a measurement."""

    start_s: float
    end_s: float
    hands_n: float
    saddle_n: float
    feet_n: float
    """NaN when the rider's mass is not known."""
    tilt_deg: float
    crank_torque_nm: float
    """NaN when no fresh power reading covers the stroke."""
    power_w: float
    cells_n: tuple[float, ...]
    scans: int
    """Scans averaged."""
    flags: Status
    """All the status bits seen during the stroke."""

    @property
    def mid_s(self) -> float:
        return 0.5 * (self.start_s + self.end_s)

    @property
    def cadence_rpm(self) -> float:
        return 60.0 / (self.end_s - self.start_s)


@dataclass(frozen=True, slots=True)
class Setting:
    """How the jig was really set at one position, besides the setback; NaN where it was neither stated nor measured."""

    saddle_height_mm: float = NAN
    """BB to saddle top along the seat tube line."""
    bar_x_mm: float = NAN
    """Bar forward of the BB, where the hands rest."""
    bar_y_mm: float = NAN
    """Bar above the BB along the jig normal."""
    saddle_tilt_deg: float = NAN
    """Of the saddle against the jig, nose up positive."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading of a scale's display, typed by a person, in newtons at the rider's contact."""

    t_s: float
    hands_n: float
    half_n: float
    """The display shows no finer: the load lay within so much of hands_n."""
    saddle_n: float = NAN
    """Of a second scale; NaN without one."""
    damping_s: float = NAN
    """Time constant of the display at the hands, as told with the known weight; NaN when nobody was asked."""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A stroke recorded at a position that is in no mean."""

    stroke: Stroke
    why: str


@dataclass(frozen=True, slots=True)
class StepMean:
    """One saddle position, settled and averaged over whole strokes inside the torque band."""

    setback_mm: float
    hand_load_n: float
    se_n: float
    """Standard error of hand_load_n; NaN if it has to come from the pooled model of all steps."""
    t_min: float
    """Middle of the dwell, minutes of session time."""
    crank_torque_nm: float
    """NaN when unknown."""
    saddle_load_n: float
    tilt_deg: float
    strokes: tuple[Stroke, ...] = ()
    """The strokes averaged, in time order."""
    excluded: int = 0
    """How many strokes were left out while the position was recorded."""
    u_setback_mm: float = NAN
    """Standard uncertainty of where the saddle really was; NaN when not stated."""
    weight_line_mm: float = NAN
    """Where the rider's weight line crosses the jig's x axis, forward of the BB, from the pressure centre on nose and
    rear cells; NaN when it is not measured (one saddle cell moves with the saddle and cannot show it)."""
    u_weight_line_mm: float = NAN
    """Its standard uncertainty, most of it from the forces along the jig, which single-axis cells do not see."""
    moved_min: float = NAN
    """When the saddle was confirmed at this position, minutes of session time; NaN if unknown."""
    setting: Setting = Setting()
    readings: tuple[Reading, ...] = ()
    """The typed readings averaged, in time order, where there are no strokes."""
    left_out: tuple[LeftOut, ...] = ()
    """The strokes left out, in time order; empty where only their number is known."""


class Result(enum.StrEnum):
    """How one test of a sweep's validity ended."""

    PASSED = "passed"
    FAILED = "failed"
    NOT_MADE = "not made"


@dataclass(frozen=True, slots=True)
class Validity:
    """One test of whether a sweep can support a verdict: what was found, what it means, what would cure it."""

    test: str
    value: float
    """In `unit`; NaN if the test was not made."""
    unit: str
    interval_95: tuple[float, float] | None
    result: Result
    forbids: bool
    """Whether no onset may be named because of it."""
    means: str
    """One sentence: what was found and what follows; for a test not made, what is missing."""
    cure: str
    """What to do; empty if nothing has to be done."""
    ride_mm: tuple[float, ...] = ()
    """Positions that the cure asks to ride again, where it does not ask for the whole sweep."""


@dataclass(frozen=True, slots=True)
class Likelihood:
    """How well each possible position of the bend explains one sweep, without the prior on that position."""

    rear_mm: float
    """Setback of the first value."""
    step_mm: float
    """Each value lies this much further forward than the previous one."""
    log_l: tuple[float, ...]
    """Natural log; its maximum over positions, light and loaded together is 0."""
    log_light: float
    """The same of 'no rise up to the foremost position'."""
    log_loaded: float
    """The same of 'rises all along'."""


@dataclass(frozen=True, slots=True)
class NextRide:
    """The positions that would tell most about a sweep without a verdict."""

    new_mm: tuple[float, ...]
    """Not ridden yet."""
    again_mm: tuple[float, ...]
    """Ridden before."""
    whole: bool
    """Whether these are all positions of the sweep."""
    steps: int
    """As many as are needed, one at each position at least."""
    minutes: float
    """What they take; NaN where the times of the steps are not known."""


class Verdict(enum.StrEnum):
    """What may be claimed of a sweep."""

    ONSET = "onset"
    LIGHT = "light-throughout"
    LOADED = "loaded-throughout"
    RISE_SEEN = "rise-seen"
    """Hand load begins to rise, but the effort, which may be the cause, was not measured: no setback is named."""
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True)
class Onset:
    """Where hand load starts to rise as the saddle comes forward, or why no such place may be named."""

    verdict: Verdict
    gradual: bool
    onset_mm: float | None
    interval_95_mm: tuple[float, float] | None
    p_onset: float
    p_light: float
    p_loaded: float
    least_squares_mm: float | None
    rss: float
    suggested_setback_mm: float | None
    light_load_n: float
    """Hand load of the fitted line behind the onset, at the middle of the sweep."""
    slope_n_per_mm: float
    """Added hand load per mm forward of the onset, positive when it rises coming forward."""
    reasons: tuple[str, ...]
    method: str
    """Name and version of the estimator."""
    validity: tuple[Validity, ...] = ()
    """Every test of the sweep's validity, passed, failed or not made."""
    p_loaded_at: tuple[tuple[float, float], ...] = ()
    """(setback_mm, probability that the hands already carry more there), over the positions ridden."""
    likelihood: Likelihood | None = None
    p_lag: tuple[tuple[float, float], ...] = ()
    """(time constant in s, probability) of how slowly hand load follows a move; 0 s: at once. Empty: not looked at."""
    between_n: float = NAN
    """Scatter of the steps that their strokes do not show, standard deviation, N; NaN: not looked at."""
    evidence: tuple[str, ...] = ()
    """What became of every test of validity, in a few words each."""
    grade: str = ""
    """What was measured, what was only held, and what was not measured: how much this answer rests on."""
    all_measured: bool = True
    """Whether the jig measured all of that: nothing was read off a scale, only held, or not measured."""
    caution: str = ""
    """What has to stand beside the number wherever it is shown, one of the reasons; empty where nothing has to."""
    next_ride: NextRide | None = None
    """What to ride as well, of a sweep without a verdict; None where that would not tell, or something else has to be
    cured before."""
    cures: tuple[str, ...] = ()
    """What to do about a sweep without an onset, the first thing first; empty where no test says."""
