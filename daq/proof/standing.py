"""Whether the proof of a jig is valid now, and the few words to show beside an answer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from daq.measure.calibration.status import moment, months_later
from daq.proof.certificate import MONTHS
from daq.proof.sheet import parts_of
from daq.rig import Rig

NOT = "jig not proved"
FAILED = f"{NOT}: it failed on"
"""How the words on a failed proof begin, in answers that are kept too."""


@dataclass(frozen=True, slots=True)
class ProofStanding:
    """How the proof of a jig stands, and the words that say so."""

    state: Literal["proved", "failed", "missing"]
    said: str


def proof_standing(rig: Rig, calibration: str, now_utc: str, *, simulated: bool) -> ProofStanding:
    """calibration: the id of the one in use. simulated: the session's jig is."""
    proof = rig.proof
    if proof is None:
        return ProofStanding("missing", NOT)
    day = proof.made_utc[:10]
    if proof.simulated != simulated:
        of = "a simulated" if proof.simulated else "a real"
        return _missing(f"the proof of {day} was of {of} jig")
    if proof.parts != parts_of(rig, calibration):
        return _missing(f"a part or the calibration was changed since the proof of {day}")
    if rig.setback_scale is None:
        return _missing(f"the table [setback_scale] of the proof of {day} is not in the rig file")
    if proof.scale != rig.setback_scale.mark:
        return _missing(f"the setback scale's table was changed since the proof of {day}")
    if moment(now_utc) >= months_later(moment(proof.made_utc), MONTHS):
        return _missing(f"the proof of {day} is older than {MONTHS} months")
    if not proof.passed:
        return ProofStanding("failed", f"{FAILED} {day}")
    found = f"a known onset found within {proof.bias_mm:+z.1f} ± {proof.expanded_mm:.1f} mm"
    return ProofStanding("proved", f"jig proved {day}: {found}")


def _missing(why: str) -> ProofStanding:
    return ProofStanding("missing", f"{NOT}: {why}")
