"""An intake that lacks nothing: invented."""

from daq.fit.intake import Intake, Saddle

INTAKE = Intake(mass_kg=75.0, saddle=Saddle(reference="nose"), inseam_mm=830.0, crank_mm=172.5)
