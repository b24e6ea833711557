"""Where a returning client starts from: the last intake, with what was decided and answered since."""

from __future__ import annotations

from daq.fit.decision import Decision, FollowUp
from daq.fit.intake import Intake


def from_last_time(intake: Intake, decision: Decision | None, follow_up: FollowUp | None) -> Intake:
    """The last intake, with the saddle as decided and the complaints as answered since. decision, follow_up: those made
    since that intake, or None. It has to be gone through with the client: whether the saddle was put there, and whether
    it still hurts, is asked again. The red-flag questions start empty.
    """
    saddle = intake.saddle
    if decision is not None:
        height_mm, tilt_deg = decision.height_mm, decision.saddle_tilt_deg
        decided = {
            "setback_mm": decision.setback_mm,
            "height_mm": saddle.height_mm if height_mm is None else height_mm,
            "tilt_deg": saddle.tilt_deg if tilt_deg is None else tilt_deg,
        }
        saddle = saddle.model_copy(update=decided)
    answered = {} if follow_up is None else {"symptoms": follow_up.symptoms, "feel": follow_up.feel}
    unasked = {"red_flags": (), "cleared": (), "flag_reason": ""}
    return intake.model_copy(update={"saddle": saddle, **answered, **unasked})


def said(decided_utc: str | None, answered_utc: str | None) -> str:
    """A sentence for the fitter that says what the form is prefilled with."""
    parts = [
        "Filled in from last time",
        "" if decided_utc is None else f"the saddle as decided on {decided_utc[:10]}",
        "" if answered_utc is None else f"the complaints as answered on {answered_utc[:10]}",
    ]
    return ", ".join(filter(None, parts)) + ". Measure and ask again, then keep it."
