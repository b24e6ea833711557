"""A case and its evidence for a page, and who is due for follow-up."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from daq.fit.case import Case, Evidence, options_of
from daq.fit.confirming import Confirmed, ConfirmWanted, on_what
from daq.fit.decision import FollowUp, changes_said
from daq.fit.explaining import sentence, what_was_found
from daq.fit.intake import Intake, clinician_advice
from daq.fit.overlaid import differences
from daq.fit.ridden import Ridden, main_sweep
from daq.fit.suggested import Suggested
from daq.keep.again.case import case_of
from daq.keep.clients import people, visits
from daq.keep.json_text import plain
from daq.keep.store import Store
from daq.live.telling.pains import pains_told
from daq.sweep.onset import fitted_line, standard_errors
from daq.sweep.validity.figures import ENDED, figure
from daq.values import Onset


def evidence_fields(case: Case, evidence: Evidence, earlier: Case | None = None) -> dict[str, Any]:
    """The evidence for a page, including sweeps for an overlay; earlier: the visit to compare with."""
    return {
        "visit_id": case.visit_id,
        "pseudonym": case.pseudonym,
        "advice": clinician_advice(case.intake),
        "main": None if evidence.main is None else evidence.main.sweep_id,
        "sentence": sentence(case, evidence),
        "found": what_was_found(evidence),
        "present_mm": evidence.present_mm,
        "chosen_mm": evidence.chosen_mm,
        "suggested": _suggested(evidence.suggested),
        "window_mm": evidence.window_mm,
        "places": plain(evidence.places),
        "signs": plain(evidence.signs),
        "confounders": plain(evidence.confounders),
        "cautions": evidence.cautions,
        "differs": evidence.differs,
        "leanings": plain(evidence.leanings),
        "not_seen": plain(evidence.not_seen),
        "present": plain(evidence.present),
        "chosen": plain(evidence.chosen),
        "options": plain(options_of(case, evidence)),
        "reaching": plain(evidence.reaching),
        "steps": plain(evidence.steps),
        "sides": [{**plain(one), "clear": one.over.clear} for one in evidence.sides],
        "against": plain(evidence.against),
        "com_height": evidence.com_height,
        "differences": [] if earlier is None else differences(case.intake, earlier.intake),
        "sweeps": [sweep_fields(one) for one in (*case.sweeps, *evidence.earlier)],
        "decision": None if case.decision is None else case.decision.model_dump(mode="json"),
    }


def confirm_fields(asked: Sequence[ConfirmWanted], found: Sequence[Confirmed]) -> dict[str, Any]:
    """What a confirm ride is still wanted for, and what those ridden have shown."""
    return {
        "wanted": [{**plain(one), "where": on_what(one.gradient_pct)} for one in asked],
        "confirmed": [
            {**plain(one), "where": one.where, "said": [each.said for each in one.differences]} for one in found
        ],
    }


def sweep_fields(sweep: Ridden) -> dict[str, Any]:
    """One ridden sweep for a chart."""
    errors_n = standard_errors(sweep.steps)
    line = None
    if sweep.onset is not None:
        setback_mm, hand_load_n = fitted_line(sweep.steps, sweep.onset)
        line = {"setback_mm": plain(setback_mm), "hand_load_n": plain(hand_load_n)}
    steps = [
        {
            "setback_mm": step.setback_mm,
            "hand_load_n": step.hand_load_n,
            "se_n": plain(float(se_n)),
            "notes": dict(sweep.notes.get(i, {})),
        }
        for i, (step, se_n) in enumerate(zip(sweep.steps, errors_n, strict=True))
    ]
    return {
        "sweep_id": sweep.sweep_id,
        "name": sweep.name,
        "gradient_pct": sweep.plan.gradient_pct,
        "protocol": sweep.plan.protocol,
        "blinded": sweep.plan.blinded,
        "purpose": sweep.plan.purpose,
        "state": sweep.state,
        "steps": steps,
        "line": line,
        "onset": None if sweep.onset is None else answer_fields(sweep.onset),
        "marks": sweep.marks,
        "pains": pains_told(sweep.pains),
        "losses": sweep.losses,
    }


def answer_fields(answer: Onset) -> dict[str, Any]:
    """The answer; each test's number also with what it is and its unit."""
    fields: dict[str, Any] = plain(answer)
    fields["validity"] = [{**plain(one), "ended": ENDED[one.result], "figure": figure(one)} for one in answer.validity]
    return fields


def earlier_visits(store: Store, visit_id: int) -> list[dict[str, Any]]:
    """Earlier visits of the same client in which a sweep was ridden, the latest first."""
    client_id = visits.visit(store, visit_id).client_id
    found = []
    for record in reversed(visits.visits(store, client_id)):
        kinds = {note.kind: note.content for note in visits.notes(store, record.id)}
        if record.id < visit_id and {"sweep", "intake"} <= set(kinds):
            setback_mm = kinds["decision"]["setback_mm"] if "decision" in kinds else None
            found.append({"visit_id": record.id, "begun_utc": record.begun_utc, "setback_mm": setback_mm})
    return found


def decided_before(store: Store, visit_id: int, known: dict[int, Ridden]) -> dict[str, Any] | None:
    """The sweep that the client's last decision before this visit rests on, with its day; None without one. known: a
    cache of computed sweeps."""
    for earlier in earlier_visits(store, visit_id):
        if earlier["setback_mm"] is None:
            continue
        main = main_sweep(case_of(store, earlier["visit_id"], known).sweeps)
        if main is not None:
            found = sweep_fields(main)
            return {"on": earlier["begun_utc"][:10], "steps": found["steps"], "line": found["line"]}
    return None


def _suggested(one: Suggested | None) -> dict[str, Any] | None:
    """Without its chances: every option has today's, and what is foretold of another day is asked apart."""
    return None if one is None else {"setback_mm": one.setback_mm, "said": one.said}


def due(store: Store) -> list[dict[str, Any]]:
    """Every visit with a decision: when its follow-up is due, and the outcome."""
    found = []
    for record in visits.visits(store):
        latest = {note.kind: note.content for note in visits.notes(store, record.id)}
        if "decision" not in latest or "intake" not in latest:
            continue
        asked = latest.get("follow-up")
        before = Intake.model_validate(latest["intake"]).symptoms
        found.append(
            {
                "visit_id": record.id,
                "pseudonym": people.client(store, record.client_id).pseudonym,
                "name": people.name_of(store, record.client_id),
                "begun_utc": record.begun_utc,
                "due_on": latest["decision"]["recheck_on"],
                "is_due": asked is None and latest["decision"]["recheck_on"] <= people.today().isoformat(),
                "setback_mm": latest["decision"]["setback_mm"],
                "symptoms": [one.model_dump() for one in before],
                "outcome": None if asked is None else asked["outcome"],
                "changes": [] if asked is None else changes_said(before, FollowUp.model_validate(asked).symptoms),
            }
        )
    return sorted(found, key=lambda one: (one["outcome"] is not None, one["due_on"]))
