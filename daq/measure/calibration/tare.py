"""The tilt tare: what the empty fixture's own weight shows on a cell when the jig is tilted.

    F = constant + cosine cos t + sine sin t

Over a few per cent cos t hardly moves, so that constant and cosine cannot be told apart (condition number 13 600 over
0 to 5 %). Below a span of 10 % only constant and sine are fitted, on at least 3 tilts; from 10 % on all three, on at
least 4. Both need the tilts on the way up and on the way down, which shows play and stiction of the fixture.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from daq.measure.calibration.model import TiltTare
from daq.words import counted

FULL_SPAN_PCT = 10.0
FEWEST_NARROW, FEWEST_WIDE = 3, 4
SAME_TILT_DEG = 0.15
"""Tilts closer than this count as one."""


class TareError(ValueError):
    """These tilts do not determine the tare; the text says what is missing."""


def fit_tare(tilt_deg: npt.ArrayLike, shown_n: npt.ArrayLike) -> TiltTare:
    """The tilt tare from loads (n,) the empty fixture showed at tilts (n,), in the order taken.

    Raises TareError for too few tilts, a way up without a way down, and numbers that are not finite.
    """
    tilt, shown = np.asarray(tilt_deg, dtype=np.float64), np.asarray(shown_n, dtype=np.float64)
    if tilt.shape != shown.shape or tilt.ndim != 1:
        raise TareError(f"expected one load for each tilt, got {len(shown)} loads and {len(tilt)} tilts")
    if not (np.isfinite(tilt).all() and np.isfinite(shown).all()):
        raise TareError("expected finite tilts and loads; a reading is missing or not a number")
    check_tilts(tilt)
    wide = span_of_gradient_pct(tilt) >= FULL_SPAN_PCT
    t = np.radians(tilt)
    columns = [np.ones_like(t), np.sin(t)] + ([np.cos(t) - 1.0] if wide else [])
    size = np.array([np.abs(column).max() for column in columns])
    design = np.column_stack(columns) / size
    solved = np.linalg.lstsq(design, shown, rcond=None)[0]
    rest, dof = shown - design @ solved, len(shown) - len(columns)
    found = solved / size
    cosine = float(found[2]) if wide else 0.0
    return TiltTare(
        constant_n=float(found[0]) - cosine,
        cosine_n=cosine,
        sine_n=float(found[1]),
        covered_deg=(float(tilt.min()), float(tilt.max())),
        residual_sd_n=math.sqrt(float(rest @ rest) / dof) if dof > 0 else 0.0,
    )


def span_of_gradient_pct(tilt_deg: npt.ArrayLike) -> float:
    """Highest minus lowest gradient, %."""
    gradient = 100.0 * np.tan(np.radians(np.asarray(tilt_deg, dtype=np.float64)))
    return float(np.ptp(gradient)) if gradient.size else 0.0


def check_tilts(tilt_deg: npt.ArrayLike) -> None:
    """Refuse tilts (n,), in the order taken or planned, that cannot determine a tare. Raises TareError."""
    tilt = np.asarray(tilt_deg, dtype=np.float64)
    span_pct = span_of_gradient_pct(tilt)
    fewest = FEWEST_WIDE if span_pct >= FULL_SPAN_PCT else FEWEST_NARROW
    different = 1 + np.count_nonzero(np.diff(np.sort(tilt)) > SAME_TILT_DEG) if len(tilt) else 0
    if different < fewest:
        raise TareError(
            f"expected at least {fewest} different tilts over a span of {span_pct:.1f} %, got {different}; "
            "tilt the empty jig further, or to more tilts"
        )
    moves = np.diff(tilt)
    if not ((moves > SAME_TILT_DEG).any() and (moves < -SAME_TILT_DEG).any()):
        raise TareError(
            "expected tilts on the way up and on the way down, got one direction; go back over the tilts, which shows "
            "whether the fixture sticks"
        )
    if len(tilt) < fewest + 1:
        raise TareError(f"expected at least {counted(fewest + 1, 'reading')}, one more than terms, got {len(tilt)}")
