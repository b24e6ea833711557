"""Whether the jig's setback scale was checked, and whether a proof of the jig stands: from the rig file."""

from __future__ import annotations

from daq.jig import scale_said
from daq.live.checkup.check import CAUTION, FAILED, WELL, PartState
from daq.proof.certificate import valid_until_utc
from daq.proof.findings import PARTS
from daq.proof.standing import proof_standing
from daq.proof.tasks import lacks
from daq.rig import Rig


def check_proof(rig: Rig, calibration_id: str, now_utc: str) -> list[PartState]:
    """The setback scale, and the proof where this jig can have one; a failed proof is a failure."""
    return [_scale(rig), *([_proof(rig, calibration_id, now_utc)] if rig.proof or not lacks(rig) else [])]


def _scale(rig: Rig) -> PartState:
    part, scale = "setback scale", rig.setback_scale
    words = scale_said(rig).removeprefix(f"{part} ")
    if scale is None:
        return PartState(
            part, CAUTION, f"{words}: check it with a caliper, `foreaft prove scale`; every answer says so"
        )
    figures = scale.model_dump()
    off = {"scale offset": scale.offset_mm, "scale slope": scale.slope_error, "backlash": scale.backlash_mm}
    doubts = [
        f"{PARTS[name].name}: {PARTS[name].cure}" for name, value in off.items() if abs(value) > PARTS[name].limit
    ]
    return PartState(part, CAUTION if doubts else WELL, "; ".join([words, *doubts]), figures)


def _proof(rig: Rig, calibration_id: str, now_utc: str) -> PartState:
    standing = proof_standing(rig, calibration_id, now_utc, simulated=False)
    words = standing.said
    figures = {} if rig.proof is None else rig.proof.model_dump()
    if standing.state == "failed":
        return PartState(
            "proof", FAILED, f"{words}: mend what its certificate names, then prove the jig again", figures
        )
    if standing.state == "missing":
        return PartState("proof", CAUTION, f"{words}: prove it with a dummy, `foreaft prove run`", figures)
    until_utc = valid_until_utc(figures["made_utc"])
    return PartState("proof", WELL, f"{words}; valid to {until_utc[:10]}", figures | {"valid_until_utc": until_utc})
