"""One proof worked through by a simulated engineer, without board and session."""

import numpy as np

from daq.live.demo import rig_text_of
from daq.live.proving.engineer import Engineer
from daq.proof.dummy import Plank
from daq.proof.sheet import DummyParts, Gradual, Mass, ProofPlan, ProofReading, Sheet, parts_of
from daq.proof.tasks import check, due
from daq.rider.jig_geometry import JigGeometry
from daq.rider.proof_faults import FAULTS, JigFaults
from daq.rig_file import parse_rig

DUMMY = DummyParts(
    name="dummy A",
    rate_n_per_mm=2.0,
    u_rate_n_per_mm=0.02,
    mass=Mass(mass_kg=10.0, ahead_m=0.15, above_m=0.1),
    gradual=Gradual(rates_n_per_mm=(0.7, 0.7, 0.7), later_mm=(0.0, 20.0, 40.0)),
)
SOUND = JigFaults()


def begun(**changes):
    fields = {
        "made_by": "R. Doe", "begun_utc": "2025-03-04T10:00:00+00:00", "rig": "jig", "calibration": "c1",
        "parts": "p1", "simulated": True, "g_m_s2": 9.81, "dummy": DUMMY, "plan": ProofPlan(gradual=True),
    }  # fmt: skip
    return Sheet(**{**fields, **changes})


def worked(sheet, plank, *, wrong=SOUND, seed=1):
    """The finished sheet."""
    rng, minutes = np.random.default_rng(seed), 0.0
    engineer = Engineer(rng, sheet, plank, wrong)
    while (task := due(sheet)) is not None:
        minutes += 0.6
        done = engineer.does(task)
        read = {}
        if task.reads:
            read = {
                "hands_n": done.hands_n + rng.normal(0, 0.05),
                "saddle_n": done.saddle_n + rng.normal(0, 0.05),
                "tilt_deg": done.tilt_deg + float(wrong.tilt_deg) + rng.normal(0, 0.005),
            }
        reading = ProofReading(task=task.id, at_utc=sheet.begun_utc, t_min=minutes, typed=done.typed, **read)
        check(sheet, task, reading)
        sheet = sheet.with_reading(reading)
    return sheet


SIMULATED = parse_rig(rig_text_of(JigGeometry(), "/dev/none"))
OFFSET = FAULTS["offset"]
PLANK = Plank(10.0, 0.15, 0.1, 0.54)


def sheet_without(*left_out, placements=3, wrong=OFFSET):
    """A sheet of the simulated jig, worked through but for the tasks that begin so."""
    plan = ProofPlan(placements=placements, read_s=1.0, gradual=True)
    parts = parts_of(SIMULATED, "simulated")
    whole = worked(begun(plan=plan, parts=parts, calibration="simulated"), PLANK, wrong=wrong, seed=7)
    kept = tuple(one for one in whole.readings if not one.task.startswith(left_out))
    return whole.model_copy(update={"readings": kept})
