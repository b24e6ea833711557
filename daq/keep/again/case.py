"""A visit read from the store, its sweeps computed from raw data."""

from __future__ import annotations

import contextlib
from typing import Any

from daq.fit.case import Case
from daq.fit.decision import Decision, FollowUp
from daq.fit.intake import Intake
from daq.fit.prechecks import Measured
from daq.fit.ridden import Ridden
from daq.keep.again.ridden import ridden
from daq.keep.again.stored import rig_of
from daq.keep.clients import people, visits
from daq.keep.errors import NotThere, StoreDamaged
from daq.keep.store import Store
from daq.keep.store.sessions import SweepRecord
from daq.refusals import BadValue


class NoIntake(BadValue):
    """The visit has no intake, so there is nothing to decide on."""


def case_of(store: Store, visit_id: int, known: dict[int, Ridden]) -> Case:
    """A visit. StoreError if there is none, NoIntake. known: a cache of computed sweeps, which do not change; new ones
    are added."""
    record = visits.visit(store, visit_id)
    session = store.session(record.session_id)
    notes = visits.notes(store, visit_id)
    latest: dict[str, Any] = {note.kind: note.content for note in notes}
    if "intake" not in latest:
        raise NoIntake("no intake was kept in this visit; keep it on the client screen first", see="client")
    sweeps: list[SweepRecord] = []
    for note in notes:
        with contextlib.suppress(NotThere, StoreDamaged):  # lost: the visit's other sweeps still count
            sweeps += [store.sweep(int(note.content["sweep_id"]))] if note.kind == "sweep" else []
    for sweep in sweeps:
        if sweep.to_us is not None and sweep.id not in known:
            with contextlib.suppress(StoreDamaged):  # nothing can be computed from its raw data any more
                found = ridden(store, sweep.id)
                known |= {} if found is None else {sweep.id: found}
    used = sorted({sweep.calibration_id for sweep in sweeps} or {session.calibration_id})
    return Case(
        visit_id=visit_id,
        begun_utc=record.begun_utc,
        pseudonym=people.client(store, record.client_id).pseudonym,
        rig=rig_of(session),
        simulated=session.simulated,
        software=session.software,
        calibration_ids=tuple(str(store.calibration(i).get("id", i)) for i in used),
        intake=Intake.model_validate(latest["intake"]),
        measured=Measured.model_validate(latest.get("measured", {})),
        overrides=tuple(note.content for note in notes if note.kind == "override"),
        sweeps=tuple(known[sweep.id] for sweep in sweeps if sweep.id in known and known[sweep.id].steps),
        decision=Decision.model_validate(latest["decision"]) if "decision" in latest else None,
        follow_up=FollowUp.model_validate(latest["follow-up"]) if "follow-up" in latest else None,
        nth=visits.nth(store, visit_id),
    )
