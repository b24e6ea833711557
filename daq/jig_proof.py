"""What a rig file says about the proof of its jig: the table [proof], as `foreaft prove` prints it."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from daq.text import Line


class JigProof(BaseModel):
    """One proof, in brief."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)

    made_utc: Annotated[Line, Field(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)$")]
    made_by: Annotated[Line, Field(min_length=1, max_length=200)]
    passed: bool
    bias_mm: Annotated[float, Field(ge=-1000, le=1000)]
    expanded_mm: Annotated[float, Field(ge=0, le=1000)]
    """Half of its 95 % interval."""
    parts: Annotated[Line, Field(min_length=1, max_length=64)]
    """The jig's parts: `daq.proof.sheet.parts_of`."""
    scale: Annotated[Line, Field(max_length=64)] = ""
    """The setback scale's mark: `daq.setback_scale.SetbackScale.mark`. Without it the proof holds for no scale."""
    simulated: bool = False
