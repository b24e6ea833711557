"""Counts to newtons and degrees: a calibration as data, and its application.

Elementwise and in a fixed order, so the same scan gives the same bits whatever block it comes in.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from daq.values import Array


class BadCalibration(ValueError):
    """The data are not a calibration; the text names the field and what was expected."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One channel: value = c1 (r - r0) + c2 (r - r0)^2, r in counts; newtons, or degrees for a tilt sensor."""

    name: str
    zero_counts: float
    per_count: float
    per_count2: float = 0.0


@dataclass(frozen=True, slots=True)
class Calibration:
    """How the channels of one jig are read, in the order of the rig file."""

    id: str
    made_utc: str
    cells: tuple[Cell, ...]
    simulated: bool = False

    def __post_init__(self) -> None:
        if not self.id or not self.cells:
            raise BadCalibration("a calibration needs an id and at least one cell")
        for cell in self.cells:
            numbers = (cell.zero_counts, cell.per_count, cell.per_count2)
            if not all(math.isfinite(x) for x in numbers) or cell.per_count == 0.0:
                raise BadCalibration(f"cell {cell.name}: expected finite coefficients and a slope other than 0")


def apply(calibration: Calibration, counts: npt.NDArray[np.int32], zero_counts: Array | None = None) -> Array:
    """(n, k) values of (n, k) counts. zero_counts (k,) takes the place of the calibration's own zeros."""
    if counts.shape[1] != len(calibration.cells):
        raise ValueError(
            f"counts have {counts.shape[1]} channels, calibration {calibration.id} {len(calibration.cells)}"
        )
    values = np.empty(counts.shape)
    for i, cell in enumerate(calibration.cells):
        from_zero = counts[:, i] - (cell.zero_counts if zero_counts is None else zero_counts[i])
        values[:, i] = cell.per_count * from_zero
        if cell.per_count2:
            values[:, i] += cell.per_count2 * (from_zero * from_zero)
    return values


def to_dict(calibration: Calibration) -> dict[str, Any]:
    """Plain values that JSON holds exactly."""
    return asdict(calibration)


def from_dict(content: Mapping[str, Any]) -> Calibration:
    """The calibration in such values. Raises BadCalibration."""
    try:
        cells = tuple(Cell(**cell) for cell in content["cells"])
        return Calibration(**{**content, "cells": cells})
    except (KeyError, TypeError) as error:
        raise BadCalibration(f"not a calibration: {error}") from error
