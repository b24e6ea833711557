"""Whether the crank torque was measured: 1 N m moves hand load as far as 7 to 14 mm of setback."""

from __future__ import annotations

import numpy as np

from daq.sweep.validity.saying import Number, failed, not_made, passed
from daq.sweep.validity.seen import Seen
from daq.values import Validity
from daq.words import listed

MAY_MISS = 1
"""Steps that may lack it: the estimator tolerates a single odd one."""
MATTERS = "1 N m, 10 W at 90 rpm, moves hand load as far as 7 to 14 mm of setback"


def torque(sweep: Seen) -> Validity:
    """Measured on every step, or who says what the rider's effort did."""
    known = np.isfinite(sweep.torque_nm)
    if known.all():
        return passed(
            "torque",
            f"crank torque was measured on every step, within {np.ptp(sweep.torque_nm):.1f} N m",
            Number(float(np.ptp(sweep.torque_nm)), "N m"),
        )
    if sweep.conditions.dummy:
        return not_made("torque", "effort not measured: a dummy rides, which has none")
    if not sweep.conditions.torque_expected and not known.any():
        return not_made("torque", f"effort not stated: {MATTERS}", "read a power sensor, and give crank_torque_nm")
    where = listed(list(dict.fromkeys(f"{mm:g}" for mm in sweep.setback_mm[~known])))
    which = f"at {where} mm" if known.any() else "on any step"
    measured = "effort not measured" if (~known).sum() > MAY_MISS else "effort not measured on one step"
    said = f"rise seen, {measured}" if sweep.rise_seen else measured
    lost = " (some of the record is lost, which may be why)" if sweep.conditions.records_lost else ""
    return failed(
        "torque",
        f"{said}: crank torque is not known {which}{lost}, and {MATTERS}",
        "bring the sweep back from a backup or an export, or ride it again with a power sensor"
        if lost
        else "link a power sensor and ride the sweep again",
        Number(float((~known).sum()), "steps"),
        forbids=bool((~known).sum() > MAY_MISS),
    )
