"""Whether a calibration may still be trusted, from times passed in: nothing here reads a clock. A calibration is valid
for 12 months, a daily check for 24 hours. A stale or failed one costs the verdict, never the recording: the loads are
kept and can be recomputed with a later calibration.
"""

from __future__ import annotations

import calendar
import enum
import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from daq.measure.calibration.uncertainty import Expanded
from daq.physics import POUND_KG, STANDARD_G_M_S2

MONTHS = 12
CHECK_HOURS = 24.0
AHEAD_S = 300.0
"""Clocks of two machines may differ by this much before a time is called in the future."""
SLIPS = (
    (STANDARD_G_M_S2, "a factor 9.8: is the weight in kilograms?"),
    (1.0 / STANDARD_G_M_S2, "a factor 9.8: is the weight in newtons?"),
    (1.0 / POUND_KG, "a factor 2.2: pounds read as kilograms?"),
    (POUND_KG, "a factor 2.2: kilograms read as pounds?"),
)
"""Factors by which a load is wrong if its unit was mistaken."""


class Standing(enum.StrEnum):
    """How a calibration stands."""

    VALID = "valid"
    CHECK_DUE = "check-due"
    CHECK_FAILED = "check-failed"
    EXPIRED = "expired"
    FROM_THE_FUTURE = "from-the-future"
    MISSING = "missing"
    OTHER_BOARD = "other-board"
    """The board, a gain or the units per count are not those it was made with."""
    SIMULATED = "simulated"
    """Made on a simulated jig and used on a real one."""


@dataclass(frozen=True, slots=True)
class CalibrationStatus:
    """The status of a calibration now, and a sentence that says why."""

    standing: Standing
    sentence: str
    until_utc: str | None = None
    """When the calibration itself expires."""

    @property
    def allows_verdict(self) -> bool:
        return self.standing is Standing.VALID


@dataclass(frozen=True, slots=True)
class SensitivityCheck:
    """One known weight on one cell (or a sum of cells) before the day's work."""

    channel: str
    checked_utc: str
    load_n: float
    u_load_n: float
    """Standard uncertainty of the weight's force."""
    shown_n: float
    expanded_n: float
    """The calibration's expanded uncertainty of the shown load, 95 %."""
    remedy: str = "zero the empty jig, put the weight on again; if it stays, calibrate"
    settles_s: float | None = None
    """How long a display took to stand still with the weight on it, 0 for one that swings with the pedals; None where
    nobody reads one, or nobody was asked."""

    @property
    def error_n(self) -> float:
        return self.shown_n - self.load_n

    @property
    def limit_n(self) -> float:
        """Expanded uncertainties of weight and load together."""
        return math.hypot(self.expanded_n, 2.0 * self.u_load_n)

    @property
    def passed(self) -> bool:
        return abs(self.error_n) <= self.limit_n

    @property
    def sentence(self) -> str:
        """What the check found and, if it failed, what to do."""
        found = f"{self.channel}: {self.load_n:.2f} N shows as {self.shown_n:.2f} N, {self.error_n:+z.2f} N"
        if self.passed:
            return f"{found}; up to {self.limit_n:.2f} N is as calibrated"
        advice = self.remedy
        ratio = self.shown_n / self.load_n if self.load_n else math.nan
        for factor, slip in SLIPS:
            if abs(ratio / factor - 1.0) < 0.03:
                advice = slip
        return f"{found}; expected within {self.limit_n:.2f} N: {advice}"


def sensitivity_check(
    channel: str, checked_utc: str, *, load_n: float, u_load_n: float, shown_n: float, uncertainty: Expanded
) -> SensitivityCheck:
    """The daily check of one weight. ValueError for a weight too light to check a sensitivity with."""
    if not load_n > 10.0 * uncertainty.expanded_n:
        raise ValueError(
            f"{channel}: a check needs a weight of more than ten times the expanded uncertainty "
            f"({uncertainty.expanded_n:.2f} N), got {load_n:.2f} N; take a heavier one"
        )
    return SensitivityCheck(channel, checked_utc, load_n, u_load_n, shown_n, uncertainty.expanded_n)


def status_at(
    made_utc: str | None,
    checks: tuple[SensitivityCheck, ...],
    now_utc: str,
    *,
    months: int = MONTHS,
) -> CalibrationStatus:
    """The status now of a calibration made and checked at these times. made_utc None: there is none. Of several checks
    of one channel, the latest counts. Raises ValueError for a text that is not an ISO 8601 time with a zone.
    """
    if made_utc is None:
        return CalibrationStatus(
            Standing.MISSING, "no cell is calibrated: loads are unknown, recording goes on. Calibrate them"
        )
    now, made = moment(now_utc), moment(made_utc)
    until = months_later(made, months)
    until_utc = until.isoformat().replace("+00:00", "Z")
    if made > now + timedelta(seconds=AHEAD_S):
        return CalibrationStatus(
            Standing.FROM_THE_FUTURE,
            f"the calibration was made at {made_utc}, which is still to come: one of the clocks is wrong. Set it",
            until_utc,
        )
    if now >= until:
        return CalibrationStatus(
            Standing.EXPIRED,
            f"the calibration of {made.date()} is older than {months} months: no verdict until calibrated again",
            until_utc,
        )
    latest = {check.channel: check for check in sorted(checks, key=lambda check: moment(check.checked_utc))}
    failed = [check.sentence for check in latest.values() if not check.passed]
    if failed:
        return CalibrationStatus(
            Standing.CHECK_FAILED, f"the check with a weight failed: {'; '.join(failed)}", until_utc
        )
    last = max((moment(check.checked_utc) for check in latest.values()), default=made)
    if now - max(last, made) > timedelta(hours=CHECK_HOURS):
        what = (
            "the last check with a weight"
            if latest and last >= made
            else "the calibration, not checked with a weight since,"
        )
        age_h = (now - max(last, made)).total_seconds() / 3600.0
        return CalibrationStatus(
            Standing.CHECK_DUE,
            f"{what} was {age_h:.0f} h ago, expected within {CHECK_HOURS:g} h: put one known weight "
            "on before the day's work",
            until_utc,
        )
    return CalibrationStatus(
        Standing.VALID,
        f"calibrated {made.date()}, checked {last.date()}, valid to {until.date()}; next check with a weight by "
        f"{max(last, made) + timedelta(hours=CHECK_HOURS):%Y-%m-%d %H:%M} UTC",
        until_utc,
    )


def fits_sweep_of(made_utc: str, ridden_utc: str) -> bool:
    """Whether a calibration may be applied to a sweep ridden at that time: made within the validity period before or
    after it."""
    first, second = sorted((moment(made_utc), moment(ridden_utc)))
    return second < months_later(first, MONTHS)


def moment(text: str) -> datetime:
    """A time in UTC. ValueError for a text that is not an ISO 8601 time with a zone."""
    try:
        read = datetime.fromisoformat(text)
    except ValueError as error:
        raise ValueError(f"expected a time like 2025-03-04T10:11:12Z, got {text!r}") from error
    if read.tzinfo is None:
        raise ValueError(f"expected a time with its zone, like 2025-03-04T10:11:12Z, got {text!r}")
    return read.astimezone(UTC)


def months_later(start: datetime, months: int) -> datetime:
    """The same day of the month, or its last day if there is no such day."""
    year, month = divmod(start.year * 12 + start.month - 1 + months, 12)
    return start.replace(year=year, month=month + 1, day=min(start.day, calendar.monthrange(year, month + 1)[1]))
