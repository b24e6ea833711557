"""A case whose report is written: invented."""

import datetime

from daq.fit.case import Case
from daq.fit.decision import Decision
from daq.fit.prechecks import Measured
from tests.fit.sweeps import INTAKE, RIG, ridden

DECISION = Decision(
    setback_mm=58.0,
    height_mm=724.0,
    reason="hands stay light <to> 55 mm",
    traded="two mm & a half",
    decided_by="B. Fitter",
    recheck_on=datetime.date(2026, 12, 16),
)

CASE = Case(
    visit_id=7,
    begun_utc="2026-11-25T09:00:00+00:00",
    pseudonym="R-ABC234",
    rig=RIG,
    simulated=False,
    software="foreaft 0.1.0",
    calibration_ids=("c-2026-11",),
    intake=INTAKE,
    measured=Measured(height_mm=722.0, saddle_tilt_deg=-1.0, cleats_set=True),
    overrides=({"check": "zero", "title": "Zero", "said": "not taken today", "reason": "rider <cannot> step off"},),
    sweeps=(ridden(label="before"),),
    decision=DECISION,
)
