"""One proof worked through by a simulated engineer, who reads what a simulated jig and dummy show."""

import math

import numpy as np

from daq.proof.dummy import Springs
from daq.proof.sheet import DummyParts, Mass, ProofPlan, Reading, Sheet
from daq.proof.tasks import check, due, hung_n
from daq.rider.proof_faults import Wrong

DUMMY = DummyParts(
    name="dummy A", rate_n_per_mm=2.0, u_rate_n_per_mm=0.02, mass=Mass(mass_kg=10.0, ahead_m=0.15, above_m=0.1)
)
SOFT = Springs((1.0,))
SOUND = Wrong()


def begun(**changes):
    fields = {
        "made_by": "R. Doe", "begun_utc": "2025-03-04T10:00:00+00:00", "rig": "jig", "calibration": "c1",
        "parts": "p1", "simulated": True, "g_m_s2": 9.81, "dummy": DUMMY, "plan": ProofPlan(),
    }  # fmt: skip
    return Sheet(**{**fields, **changes})


def worked(sheet, plank, *, wrong=SOUND, seed=1):
    """The finished sheet."""
    rng, minutes, onset_mm, tilt_deg = np.random.default_rng(seed), 0.0, 60.0, 0.0
    datum_mm = rng.uniform(-1.0, 1.0) * sheet.dummy.u_datum_mm * math.sqrt(3.0)
    while (task := due(sheet)) is not None:
        kind, minutes = task.id.split("/")[0], minutes + 0.6
        typed, hands_n, saddle_n = {}, 0.0, 0.0
        at_mm = None if task.setback_mm is None else float(wrong.setback_mm(task.setback_mm, task.forward))
        if at_mm is not None and kind != "scale":
            at_mm += rng.normal(0.0, 0.1)
        if kind == "scale":
            typed["caliper_mm"] = round(at_mm + datum_mm + rng.normal(0, 0.05), 2)
        elif kind == "place":
            onset_mm = rng.uniform(58.0, 62.0)
            placed_mm = onset_mm + rng.uniform(8.0, 12.0)
            typed["caliper_mm"] = round(placed_mm + datum_mm + rng.normal(0, 0.05), 2)
            typed["gap_mm"] = round(placed_mm - onset_mm + rng.normal(0, 0.05), 2)
        elif kind == "tilt":
            tilt_deg = math.degrees(math.atan(0.01 * sheet.plan.gradient_pct)) if task.id.endswith("climb") else 0.0
            typed["level_deg"] = round(tilt_deg + rng.normal(0, 0.03), 2)
        elif kind == "bar":
            hands_n = hung_n(sheet, "bar")[int(task.id.split("/")[1])]
        elif kind == "saddle":
            saddle_n = hung_n(sheet, "saddle")[int(task.id.split("/")[1])]
        elif kind != "empty":
            shared = (0.0, 0.0) if plank is None else plank.loads_n(at_mm, tilt_deg)
            springs, pulls_from = {
                "rise": (sheet.dummy.springs, onset_mm), "loaded": (SOFT, 120.0), "flat": (SOFT, -200.0)
            }[kind]  # fmt: skip
            hands_n = float(springs.hands_n(at_mm, pulls_from)) + float(shared[0])
            saddle_n = float(shared[1])
        shown = wrong.shown_n(hands_n, saddle_n)
        read = {"hands_n": float(shown[0]) + rng.normal(0, 0.05), "saddle_n": float(shown[1]) + rng.normal(0, 0.05)}
        tilted = {"tilt_deg": tilt_deg + float(wrong.tilt_deg) + rng.normal(0, 0.005)}
        reading = Reading(
            task=task.id, at_utc=sheet.begun_utc, t_min=minutes, typed=typed, **(read | tilted if task.reads else {})
        )
        check(sheet, task, reading)
        sheet = sheet.with_reading(reading)
    return sheet
