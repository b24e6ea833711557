"""The answer for the client: a sentence in plain words, and what remains unknown."""

from __future__ import annotations

import math

from daq.fit.case import Case, Evidence
from daq.values import Verdict

FEET = "Feet are the remainder of the weight, not measured."
NO_SADDLE = "Only the load on the hands was measured: what saddle and feet carried is not known."
BOTH_LEGS = "Hands and saddle feel both legs at once; whose push it is they cannot tell."
MINUTES = "Minutes on a jig say little about hours on the road: that is what the re-check is for."
_WITHOUT_ONSET = {
    Verdict.LIGHT: "As your saddle came forward, we did not see your hands carry more at any position we rode.",
    Verdict.LOADED: "Your hands already carried weight at the rearmost saddle position we rode.",
    Verdict.RISE_SEEN: "Your hands began to carry more, but how hard you pedalled was not measured, and that "
    "moves them as well: we name no place.",
    Verdict.UNDECIDED: "We could not tell from today's ride where your hands begin to carry more.",
}


def what_was_found(evidence: Evidence) -> str:
    """What was found, without the decision: valid while the fitter is still choosing."""
    return _found(evidence)


def sentence(case: Case, evidence: Evidence) -> str:
    """What was found and what was decided, for somebody who rides and does not measure."""
    return " ".join(filter(None, (_found(evidence), _decided(case, evidence))))


def unknown(evidence: Evidence) -> tuple[str, ...]:
    """What remains unknown, by what this jig measured."""
    steps = () if evidence.main is None else evidence.main.steps
    without_saddle = bool(steps) and all(math.isnan(step.saddle_load_n) for step in steps)
    return (NO_SADDLE if without_saddle else FEET, BOTH_LEGS, MINUTES)


def _found(evidence: Evidence) -> str:
    main = evidence.main
    if main is None or main.onset is None:
        return "No sweep with an answer was ridden today."
    if main.named is None or main.named.onset_mm is None:
        return _WITHOUT_ONSET[main.onset.verdict]
    return (
        f"As your saddle comes forward your hands stay light until it is about {main.named.onset_mm:.0f} mm behind the "
        "bottom bracket; further forward they carry more and more of you."
    )


def _decided(case: Case, evidence: Evidence) -> str:
    if case.decision is None:
        return ""
    chosen_mm, present_mm = case.decision.setback_mm, evidence.present_mm
    if present_mm is None:
        return f"It goes to {chosen_mm:.0f} mm."
    if round(chosen_mm - present_mm) == 0:
        return f"It stays at {chosen_mm:.0f} mm."
    way = "forward" if chosen_mm < present_mm else "back"
    return f"It goes {abs(chosen_mm - present_mm):.0f} mm {way}, to {chosen_mm:.0f} mm."
