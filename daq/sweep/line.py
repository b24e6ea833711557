"""The line drawn through the steps for a given position of the bend: level, slope behind, slope added forward."""

from __future__ import annotations

import statistics
from dataclasses import dataclass

import numpy as np

from daq.sweep.evidence import StepEvidence
from daq.values import MAD_TO_SD, Array

_ROUNDS = 8
_FAR = 2.5
"""Residuals beyond this many scales are down-weighted: one bad step must not tilt the line. Huber 1964, from memory."""


@dataclass(frozen=True, slots=True)
class FittedLine:
    """Hand load at the middle of the sweep's time and torque, over setback."""

    bend_mm: float
    """Setback of the bend; for a straight line the middle of the sweep."""
    load_n: float
    """Hand load there."""
    slope_n_per_mm: float
    """Hand load per mm forward, behind the bend; positive rises coming forward."""
    added_n_per_mm: float
    """What is added to it forward of the bend; 0 for a straight line."""

    @property
    def forward_n_per_mm(self) -> float:
        """Hand load per mm forward of the bend, what is behind it and what is added together."""
        return self.slope_n_per_mm + self.added_n_per_mm

    def at(self, setback_mm: Array) -> Array:
        """Hand load, N."""
        forward = self.bend_mm - setback_mm
        return self.load_n + self.slope_n_per_mm * forward + self.added_n_per_mm * np.maximum(forward, 0.0)


def line_through(evidence: StepEvidence, bend_mm: float | None) -> FittedLine:
    """Least squares with priors on the covariates, and residuals beyond 2.5 scales down-weighted."""
    at_mm = float(evidence.setback_mm.mean()) if bend_mm is None else bend_mm
    forward = at_mm - evidence.setback_mm
    columns = [np.ones(len(forward)), forward]
    if bend_mm is not None:
        columns.append(np.maximum(forward, 0.0))
    fitted = len(columns)
    design = np.column_stack([*columns, evidence.covariates])
    target = evidence.hands_n - evidence.covariates @ evidence.covariate_means
    noise = np.ones(len(target)) if evidence.se_n is None else evidence.se_n
    held = np.append(np.zeros(fitted), evidence.covariate_sds**-2.0)
    weight = np.ones(len(target))
    found = np.zeros(design.shape[1])
    for _ in range(_ROUNDS):
        gram = (design * (weight / noise**2)[:, None]).T @ design
        found = np.linalg.solve(gram + np.diag(held), design.T @ (weight / noise**2 * target))
        left = np.abs(target - design @ found) / noise
        scale = max(MAD_TO_SD * statistics.median(left.tolist()), 1e-9)
        before, weight = weight, np.minimum(1.0, _FAR * scale / np.maximum(left, 1e-12))
        if np.array_equal(weight, before):
            break
    added = float(found[2]) if bend_mm is not None else 0.0
    return FittedLine(at_mm, float(found[0]), float(found[1]), added)
