"""Saddle height against the trade's references: shown with their source, never as orders."""

from __future__ import annotations

from dataclasses import dataclass

SOURCE = "Hamley & Thomas 1967 as quoted in Peveler et al. 2005, JEPonline 8(1):51-55"
BB_TO_TOP = 0.883
"""Of the inseam, BB centre to saddle top."""
PEDAL_TO_TOP = 1.09
"""Of the inseam, pedal axle at its lowest to saddle top."""
KNEE_DEG = (25.0, 35.0)
"""Static knee flexion at the bottom of the stroke, as recommended in the same paper."""


@dataclass(frozen=True, slots=True)
class HeightReference:
    """One reference beside what was measured. mm."""

    name: str
    height_mm: float
    """BB to saddle top that the reference names."""
    off_mm: float | None
    """Measured minus reference; None if nothing was measured."""


def references(inseam_mm: float | None, crank_mm: float | None, height_mm: float | None) -> tuple[HeightReference, ...]:
    """The two inseam rules as BB to saddle top; none without inseam, only the first without crank length."""
    if inseam_mm is None:
        return ()
    found = [("0.883 × inseam", BB_TO_TOP * inseam_mm)]
    if crank_mm is not None:
        found.append(("1.09 × inseam to the pedal", PEDAL_TO_TOP * inseam_mm - crank_mm))
    return tuple(HeightReference(name, mm, None if height_mm is None else height_mm - mm) for name, mm in found)


def knee_said(knee_deg: float | None) -> str:
    """The knee's flexion beside its reference; empty if it was not measured."""
    if knee_deg is None:
        return ""
    low, high = KNEE_DEG
    where = "inside" if low <= knee_deg <= high else "outside"
    return f"knee {knee_deg:g}°, {where} {low:g}–{high:g}°"


def height_said(
    height_mm: float | None, inseam_mm: float | None, crank_mm: float | None, knee_deg: float | None
) -> str:
    """Measured height, its references, and where they come from."""
    parts = [f"set to {height_mm:.0f} mm" if height_mm is not None else "not measured"]
    for one in references(inseam_mm, crank_mm, height_mm):
        off = "" if one.off_mm is None else f" ({one.off_mm:+z.0f} mm)"
        parts.append(f"{one.name} {one.height_mm:.0f} mm{off}")
    parts += filter(None, [knee_said(knee_deg)])
    return ", ".join(parts) + (f". References, not orders: {SOURCE}" if len(parts) > 1 else "")
