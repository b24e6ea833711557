"""How much an answer rests on: what was measured while the sweep was ridden, what was only held, what nobody measured.

Shown wherever an answer is shown: the same curve of hand load is worth less from a rig that sees less.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from daq.sweep.validity.effort import MAY_MISS
from daq.sweep.validity.seen import Seen
from daq.values import Result, Validity
from daq.words import listed

SCALES = ("hands", "saddle")
"""What may be read off a scale and typed."""


def graded(sweep: Seen, found: Sequence[Validity]) -> tuple[str, bool]:
    """One line: "measured: hands, effort; held, not measured: ...; not measured: saddle, ...", and whether the jig
    measured all of it. found: what the tests say; the hips are measured where their test could be made.
    """
    there = {
        "hands": True,
        "saddle": _known(sweep, "saddle_load_n"),
        "effort": int(np.isnan(sweep.torque_nm).sum()) <= MAY_MISS,
        "tilt": _known(sweep, "tilt_deg"),
        "hips": any(one.test == "hips" and one.result is not Result.NOT_MADE for one in found),
    }
    if sweep.conditions.dummy:
        del there["hips"]
    held = sweep.conditions.effort_held if not there["effort"] else ""
    missing = [name for name, measured in there.items() if not measured and not (name == "effort" and held)]
    scale = " (read off a scale)" if all(step.readings for step in sweep.steps) else ""
    names = [f"{name}{scale if name in SCALES else ''}" for name, known in there.items() if known]
    parts = [f"measured: {listed(names)}"]
    parts += [f"held, not measured: {held}"] if held else []
    parts += [f"not measured: {listed(missing)}"] if missing else []
    return "; ".join(parts), not (scale or held or missing)


def _known(sweep: Seen, field: str) -> bool:
    return all(np.isfinite(getattr(step, field)) for step in sweep.steps)
