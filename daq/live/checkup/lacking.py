"""What each sensor the rig lacks costs: from the rig file, not from measurement."""

from __future__ import annotations

from daq.fit.sensor_costs import SLOPES_N_PER_MM, costs_of
from daq.live.checkup.check import CAUTION, WELL, PartState
from daq.rig import Rig


def check_sensors(rig: Rig) -> list[PartState]:
    """One Check for each missing sensor; a single passed one if none is missing."""
    found = [
        PartState(
            "not measured",
            CAUTION,
            cost.sentence,
            {
                "sensor": cost.sensor,
                "slopes_n_per_mm": SLOPES_N_PER_MM,
                "widths_mm": cost.widths_mm,
                "with_it_mm": cost.with_it_mm,
                "unseen": cost.unseen,
            },
        )
        for cost in costs_of(rig)
    ]
    return found or [PartState("sensors", WELL, "hands, saddle, hips, tilt and effort are measured")]
