"""Whether the proof of a jig is valid now, in a few words to show beside an answer."""

from __future__ import annotations

from daq.measure.calibration.status import moment, months_later
from daq.proof.certificate import MONTHS
from daq.proof.sheet import parts_of
from daq.rig import Rig

NOT = "jig not proved"
FAILED = f"{NOT}: it failed on"


def proof_said(rig: Rig, calibration: str, now_utc: str, *, simulated: bool) -> str:
    """calibration: the id of the one in use. simulated: the session's jig is."""
    proof = rig.proof
    if proof is None:
        return NOT
    day = proof.made_utc[:10]
    if proof.simulated != simulated:
        return f"{NOT}: the proof of {day} was of {'a simulated' if proof.simulated else 'a real'} jig"
    if proof.parts != parts_of(rig, calibration):
        return f"{NOT}: a part or the calibration was changed since the proof of {day}"
    if rig.setback_scale is None:
        return f"{NOT}: the table [setback_scale] of the proof of {day} is not in the rig file"
    if proof.scale != rig.setback_scale.mark:
        return f"{NOT}: the setback scale's table was changed since the proof of {day}"
    if moment(now_utc) >= months_later(moment(proof.made_utc), MONTHS):
        return f"{NOT}: the proof of {day} is older than {MONTHS} months"
    if not proof.passed:
        return f"{FAILED} {day}"
    return f"jig proved {day}: a known onset found within {proof.bias_mm:+z.1f} ± {proof.expanded_mm:.1f} mm"
