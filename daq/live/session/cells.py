"""The rig's force cells as the checks of cells need them: their columns, and what their converters can count."""

from __future__ import annotations

from typing import Literal

from daq.measure.cell_checks import Cell
from daq.rig import Rig
from daq.wire.board import Hello, Kind


def cells_of(rig: Rig, hello: Hello) -> tuple[Cell, ...]:
    """The force channels in the order of Loads.cells_n; none when the hello lacks one of the rig's channels."""
    columns = {channel.name: i for i, channel in enumerate(hello.channels)}
    if any(channel.name not in columns for channel in rig.channels):
        return ()
    found = []
    for wanted in (rig.channels[i] for i in rig.columns("hands", "saddle")):
        said = hello.channels[columns[wanted.name]]
        role: Literal["hands", "saddle"] = "hands" if wanted.role == "hands" else "saddle"
        raw = said.kind is Kind.BRIDGE
        found.append(Cell(wanted.name, columns[wanted.name], role, said.bits, raw, wanted.capacity_n))
    return tuple(found)
