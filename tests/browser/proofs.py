"""What the daemon says of a proof of the jig: under way, failed, held. Computed by the program, of a simulated jig."""

from __future__ import annotations

import functools
from pathlib import Path
from typing import Any

from daq.live.session.proof_desk import Work, fields
from daq.live.web.api_proof import came_of_it
from daq.proof.dummy import Plank
from daq.proof.proved import proved
from daq.proof.sheet import ProofPlan, Sheet, parts_said
from daq.proof.tasks import CAUTION, due
from daq.rider.proof_faults import FAULTS
from tests.proof.simulated_sheet import SIMULATED, begun, worked

PLAN = ProofPlan(placements=3, read_s=1.0, gradual=True)
NONE_YET = {"caution": CAUTION, "proof": None}


def answer(sheet: Sheet, shown: dict[str, float] | None = None) -> dict[str, Any]:
    """What the daemon says of a proof with this sheet."""
    work = Work(sheet, Path("proof-1.json"), due(sheet), None, 0.0, shown or {})
    made = proved(sheet) if work.task is None else None
    return {"caution": CAUTION, "proof": {**fields(work), **came_of_it(made)}}


def whole(wrong: Any) -> Sheet:
    """A finished sheet of a jig with this wrong."""
    sheet = begun(plan=PLAN, consists_of=parts_said(SIMULATED))
    return worked(sheet, Plank(10.0, 0.15, 0.1, 0.54), wrong=wrong, seed=3)


@functools.cache
def failed_sheet() -> Sheet:
    """The finished sheet of a jig whose cells show 2 % too much."""
    return whole(FAULTS["gain"])


def cut(sheet: Sheet, task: str) -> Sheet:
    """The sheet as it was before this task."""
    at = next(i for i, one in enumerate(sheet.readings) if one.task == task)
    return sheet.model_copy(update={"readings": sheet.readings[:at]})
