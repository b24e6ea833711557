"""The status of the calibration in use, in this session: shown on the page and stored with every sweep."""

from __future__ import annotations

import datetime
from dataclasses import replace
from typing import Any

from daq.measure.calibration import Calibration
from daq.measure.calibration.board import Board, otherwise
from daq.measure.calibration.status import CHECK_HOURS, CalibrationStatus, SensitivityCheck, Standing, moment, status_at
from daq.values import UNKNOWN_UTC

CHECK_EVERY = datetime.timedelta(hours=CHECK_HOURS)
BY_ITS_MAKER = "maker's own adjustment"


def standing_of(
    calibration: Calibration,
    checks: tuple[SensitivityCheck, ...],
    now_utc: str,
    *,
    simulated: bool,
    board: Board | None = None,
    checked: str = BY_ITS_MAKER,
) -> CalibrationStatus:
    """Whether this calibration may be trusted now. simulated: the session's jig is. board: connected now, if one is.
    checked: what a weight is put on, where nobody here calibrated it.

    A simulated calibration is always valid for a simulated jig and never for a real one. How a bought transmitter or a
    scale was adjusted is not known here: a check with a weight takes its place, valid for a day like any other.
    """
    if not calibration.forces:
        return status_at(None, (), now_utc)
    used = {channel.name for channel in calibration.channels if channel.kind != "unused"}
    if differs := otherwise(calibration.board, board, used):
        return CalibrationStatus(Standing.OTHER_BOARD, f"no verdict: {'; '.join(differs)}")
    if calibration.simulated and simulated:
        return CalibrationStatus(Standing.VALID, "simulated: it fits the simulated jig, nothing here was measured")
    if calibration.simulated:
        return CalibrationStatus(
            Standing.SIMULATED, "the calibration was made on a simulated jig: no verdict until this jig is calibrated"
        )
    if calibration.made_utc == UNKNOWN_UTC:
        return _adjusted_by_its_maker(checks, now_utc, checked)
    return status_at(calibration.made_utc, checks, now_utc)


def _adjusted_by_its_maker(checks: tuple[SensitivityCheck, ...], now_utc: str, checked: str) -> CalibrationStatus:
    if not checks:
        return CalibrationStatus(
            Standing.CHECK_DUE, f"{checked}: never checked here: put one known weight on before the day's work"
        )
    # Not the first: the year a calibration is good for would then end for ever, with nothing that can be calibrated.
    last_utc = max((check.checked_utc for check in checks), key=moment)
    found = status_at(last_utc, checks, now_utc)
    said = found.sentence
    if found.standing is Standing.VALID:
        last = moment(last_utc)
        said = f"checked {last.date()}; next check with a weight by {last + CHECK_EVERY:%Y-%m-%d %H:%M} UTC"
    return replace(found, sentence=f"{checked}: {said}")


def stamp(calibration: Calibration, found: CalibrationStatus) -> dict[str, Any]:
    """What a sweep stores about its calibration, besides the calibration itself."""
    return {
        "id": calibration.id,
        "made_utc": calibration.made_utc,
        "standing": str(found.standing),
        "sentence": found.sentence,
        "until_utc": found.until_utc,
        "allows_verdict": found.allows_verdict,
    }


def utc_now() -> str:
    """The wall clock, ISO 8601 in UTC."""
    return datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds")
