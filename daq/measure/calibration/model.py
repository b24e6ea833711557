"""A calibration as it is stored: every channel of a board, what its counts are worth, and how well that is known.

Never changed afterwards: a new calibration is a new Calibration with another id.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cached_property
from typing import Literal, get_args

from daq.measure.calibration.board import Board
from daq.measure.calibration.uncertainty import Uncertainty
from daq.words import counted

Kind = Literal["force", "tilt", "unused"]
HIGHEST_DEGREE = 3
STEEPEST_DEG = 30.0
"""No jig tilts further (58 %)."""


class CalibrationError(ValueError):
    """The calibration is invalid, or does not fit what it is used on; the text says why."""


@dataclass(frozen=True, slots=True)
class TiltTare:
    """The load of the empty fixture on a cell at tilt t: constant + cosine cos t + sine sin t, newtons.

    Only differences to the tilt at the last zero are ever used, and nothing beyond the tilts covered.
    """

    constant_n: float
    cosine_n: float
    """0 if the tilts covered are too close together to separate it from the constant."""
    sine_n: float
    covered_deg: tuple[float, float]
    """Lowest and highest tilt at which it was measured."""
    residual_sd_n: float = 0.0
    """Standard deviation about the fit."""

    def __post_init__(self) -> None:
        low, high = self.covered_deg
        if not -STEEPEST_DEG <= low <= high <= STEEPEST_DEG:
            raise CalibrationError(
                f"tilt tare: expected tilts covered from low to high within +-{STEEPEST_DEG:g} deg, got {low} to {high}"
            )
        for name in ("constant_n", "cosine_n", "sine_n", "residual_sd_n"):
            _finite(getattr(self, name), f"tilt tare: {name}")


@dataclass(frozen=True, slots=True)
class CalibratedChannel:
    """One column of the board's scans."""

    name: str
    kind: Kind
    coefficients: tuple[float, ...] = ()
    """Newtons (force) or degrees (tilt) from counts, constant first; empty for a channel that is not used."""
    zero_counts: float = 0.0
    """Reading of the empty jig when this calibration was made; of a tilt channel: at the tilt it then had."""
    span: tuple[float, float] | None = None
    """Lowest and highest load or tilt calibrated, relative to zero, N or deg; None: not known."""
    span_counts: tuple[float, float] | None = None
    """Lowest and highest reading of the calibration."""
    uncertainty: Uncertainty | None = None
    """Force channels; None if unknown: then no uncertainty may be stated."""
    tare: TiltTare | None = None
    """Force channels; None: the fixture's own weight is assumed to be the same at every tilt."""

    def __post_init__(self) -> None:
        where = f"channel '{self.name}'"
        if not re.fullmatch(r"[a-z][a-z0-9_]{0,31}", self.name):
            raise CalibrationError(f"{where}: expected a name of small letters, digits and _, at most 32")
        if self.kind not in get_args(Kind):
            raise CalibrationError(f"{where}: kind: expected one of {', '.join(get_args(Kind))}, got {self.kind!r}")
        self._check_coefficients(where)
        if self.kind != "force" and (self.uncertainty is not None or self.tare is not None):
            raise CalibrationError(f"{where}: only force channels have an uncertainty budget or a tilt tare")
        for name, pair in (("span", self.span), ("span_counts", self.span_counts)):
            if pair is not None and not (math.isfinite(pair[0]) and math.isfinite(pair[1]) and pair[0] < pair[1]):
                raise CalibrationError(f"{where}: {name}: expected two numbers, the lower first, got {pair}")

    def _check_coefficients(self, where: str) -> None:
        _finite(self.zero_counts, f"{where}: zero_counts")
        if self.kind == "unused":
            if self.coefficients:
                raise CalibrationError(f"{where}: not used, so expected no coefficients, got {len(self.coefficients)}")
            return
        if not 2 <= len(self.coefficients) <= HIGHEST_DEGREE + 1:
            raise CalibrationError(
                f"{where}: expected 2 to {HIGHEST_DEGREE + 1} coefficients, constant first, got "
                f"{len(self.coefficients)}"
            )
        for i, coefficient in enumerate(self.coefficients):
            _finite(coefficient, f"{where}: coefficient {i}")
        if not any(self.coefficients[1:]):
            raise CalibrationError(f"{where}: every reading would give the same value; expected a slope other than 0")

    @property
    def unit(self) -> str:
        return {"force": "N", "tilt": "deg", "unused": ""}[self.kind]


@dataclass(frozen=True)
class Calibration:
    """One calibration of all channels of a board, in the order of the scans it is applied to."""

    id: str
    made_utc: str
    """ISO 8601, given by the maker."""
    channels: tuple[CalibratedChannel, ...]
    crosstalk: tuple[tuple[float, ...], ...] | None = None
    """Among the force channels, in order: true loads = crosstalk x loads each cell shows. None: identity."""
    simulated: bool = False
    """Made on a simulated jig; everything computed with it is simulated too."""
    board: Board | None = None
    """With which it was made; None: not known."""

    def __post_init__(self) -> None:
        names = [channel.name for channel in self.channels]
        twice = sorted({name for name in names if names.count(name) > 1})
        if not self.id:
            raise CalibrationError("id: expected a text, got an empty one")
        if not names:
            raise CalibrationError("channels: expected at least one")
        if twice:
            raise CalibrationError(f"channels: each name once, but {', '.join(twice)} appears twice")
        if sum(channel.kind == "tilt" for channel in self.channels) > 1:
            raise CalibrationError("channels: expected at most one of kind 'tilt'")
        tared = [channel.name for channel in self.channels if channel.tare]
        if tared and not any(channel.kind == "tilt" for channel in self.channels):
            raise CalibrationError(f"tilt tare of {', '.join(tared)}: needs a channel of kind 'tilt', there is none")
        if self.crosstalk is not None:
            self._check_crosstalk(self.crosstalk)

    def _check_crosstalk(self, matrix: tuple[tuple[float, ...], ...]) -> None:
        k = len(self.forces)
        if len(matrix) != k or any(len(row) != k for row in matrix):
            shape = f"{counted(len(matrix), 'row')} of {', '.join(str(len(row)) for row in matrix)}"
            expected = f"{counted(k, 'row')} of {k}, one per force channel"
            raise CalibrationError(f"crosstalk: expected {expected}, got {shape}")
        for i, row in enumerate(matrix):
            for j, value in enumerate(row):
                _finite(value, f"crosstalk[{i}][{j}]")
            if row[i] <= 0.5 or sum(abs(value) for value in row) >= 2.0 * row[i]:
                raise CalibrationError(
                    f"crosstalk: row of '{self.forces[i].name}': a cell shows its own load less than others' loads; "
                    "check the wiring and the order of the channels"
                )

    def __hash__(self) -> int:
        return hash((self.id, self.made_utc))

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Names of all channels."""
        return tuple(channel.name for channel in self.channels)

    @cached_property
    def forces(self) -> tuple[CalibratedChannel, ...]:
        """The force channels, in order."""
        return tuple(channel for channel in self.channels if channel.kind == "force")

    def channel(self, name: str) -> CalibratedChannel:
        """The channel with this name. Raises CalibrationError that lists the existing names."""
        for channel in self.channels:
            if channel.name == name:
                return channel
        raise CalibrationError(f"calibration {self.id}: no channel '{name}'; it has {', '.join(self.names)}")


def _finite(value: float, where: str) -> None:
    if not math.isfinite(value):
        raise CalibrationError(f"{where}: expected a finite number, got {value!r}")
