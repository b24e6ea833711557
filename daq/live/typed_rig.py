"""The rig file of a workshop without a board, as it is made when nobody has written one, and its unit for ever."""

from __future__ import annotations

from pathlib import Path

from daq.keep.store import Store
from daq.live.real import read_rig
from daq.rig import Rig
from daq.rig_file import RigError, parse_rig

STEPS = {"N": 1.0, "kg": 0.1, "lb": 0.2}
"""The usual smallest step of a hanging scale's display."""


def typed_rig_text(unit: str, step: float | None) -> str:
    """A rig file for one scale at the hands, power and cadence typed, with a usual bicycle's sizes.

    unit: N, kg or lb. step: the smallest of the display, None the usual one.
    """
    return f"""# Made by `foreaft serve --typed`. The sizes are those of a usual bicycle: measure yours, in metres from
# the bottom bracket. What hands_per_scale is: firmware_notes/begin_with_less.md.
name = "scale, read and typed"
[typed]
# Of the display; one for ever.
unit = "{unit}"
# The smallest step of the display, in its unit.
step = {STEPS[unit] if step is None else step:g}
# At each position, 3 to 20.
readings = 5
# A fifth of the time the display takes to stand still; asked again with the known weight.
damping_s = 1.0
# (axle to scale) / (axle to hands).
hands_per_scale = 1.0
# typed: power and cadence read off the trainer. sensor: from a sensor, named in a table [power].
# held: the trainer holds them and shows nothing; then no onset is named.
effort = "typed"
[[channels]]
name = "hands"
role = "hands"
[geometry]
bar_x_m = 0.57
bar_y_m = 0.66
saddle_y_m = 0.70
"""


def made_when_missing(path: Path, unit: str | None, step: float | None) -> bool:
    """See that there is a rig file of typed readings at this path; whether it was made now. RigError when the one that
    is there reads in another unit or in other steps; OSError."""
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(typed_rig_text(unit or "kg", step), encoding="utf-8")
        return True
    typed = read_rig(path)[1].typed
    if typed is None:
        raise RigError(f"{path}: expected a [typed] table; a rig with a board is served without --typed")
    if unit is not None and typed.unit != unit:
        raise RigError(f"{path}: reads in {typed.unit}, and a rig keeps its unit; name another rig file with --rig")
    if step is not None and typed.step != step:
        raise RigError(f"{path}: has step = {typed.step:g}; write {step:g} there, or leave --step away")
    return False


def check_unit(store: Store, rig: Rig) -> None:
    """RigError when sweeps of a rig of this name were read in another unit: one slip would then spoil a comparison."""
    if rig.typed is None:
        return
    for session in reversed(store.sessions(damaged=lambda _: None)):
        try:
            before = parse_rig(session.rig)
        except RigError:
            continue
        if before.name == rig.name and before.typed is not None and before.typed.unit != rig.typed.unit:
            raise RigError(
                f"{rig.name}: was read in {before.typed.unit} on {session.started_utc[:10]}, now in {rig.typed.unit}: "
                "a rig keeps its unit; give this one another name"
            )
