"""Printed pages as the program makes them: sheets of a client tested on several days and of one whose sweep was hardly
tested, and everything kept about a client.
"""

from __future__ import annotations

import dataclasses
import functools
import tempfile
from pathlib import Path

from daq.fit.case import evidence_of
from daq.fit.days import Days, days
from daq.keep.again.report import printed
from daq.keep.clients import people, visits
from daq.keep.json_text import plain
from daq.keep.package.own_data import kept_about
from daq.keep.package.own_page import own_page
from daq.keep.store import Store
from daq.sweep.onset import onset
from daq.sweep.panel import Entry
from daq.sweep.validity.conditions import Conditions
from daq.sweep.validity.judged import judged
from daq.sweep.workshop import taught
from daq.values import NAN, Setting
from tests.fit.sweeps import ridden
from tests.keep.again.cases import CASE, DECISION
from tests.keep.sweeps import stored
from tests.sweep.panels import normal, told
from tests.sweep.validity.faults import SHAM
from tests.sweep.validity.sweeps import ON_THE_JIG, kept


@functools.cache
def another_day_sheet() -> str:
    """The sheet of a client tested on three days, the onset at 61, 57 and then 52 mm."""
    return printed(CASE, evidence_of(CASE, foretold=_three_days()), None, _three_days())


@functools.cache
def hardly_tested_sheet() -> str:
    """The sheet with the most to caution beside its onset: no sham, a rider who knew the setback, and so little known
    of the sweep that nearly no test of validity was made."""
    swept = ridden(start_setback_mm=78.0, start_height_mm=722.0, label="before", chance_of="another day")
    bare = [dataclasses.replace(step, strokes=(), t_min=NAN, tilt_deg=NAN) for step in swept.steps]
    answer = judged(onset(bare), bare, Conditions(blinded=False))
    case = dataclasses.replace(CASE, sweeps=(dataclasses.replace(swept, onset=answer),))
    return printed(case, evidence_of(case, foretold=_three_days()), None, _three_days())


@functools.cache
def fully_examined_sheet() -> str:
    """The sheet of a sweep on which nearly every test of validity was made: a sham step, the first position again."""
    swept = ridden(positions=(*SHAM, 80.0), start_setback_mm=78.0, start_height_mm=722.0, label="before")
    steps = tuple(
        dataclasses.replace(
            step,
            weight_line_mm=kept(step.setback_mm),
            setting=Setting(723.0, 540.0 - step.setback_mm, 660.0, -1.0),
            moved_min=step.t_min - 0.5,
        )
        for step in swept.steps
    )
    answer = judged(
        onset(steps), steps, dataclasses.replace(ON_THE_JIG, hand_cells=(), saddle_cells=((1, -60.0), (2, -240.0)))
    )
    case = dataclasses.replace(CASE, sweeps=(dataclasses.replace(swept, steps=steps, onset=answer),))
    return printed(case, evidence_of(case), None, _three_days())


def _three_days() -> Days:
    made_up = zip((9, 10, 11), (61.0, 57.0, 52.0), strict=True)
    tests = told([Entry("R", f"2026-{month:02}-14", normal(mm, 2.0)) for month, mm in made_up])
    return days(taught(tests), "s2")


@functools.cache
def hand_over_page() -> str:
    """Everything written down about an invented client with one visit."""
    with tempfile.TemporaryDirectory() as folder, Store.open(Path(folder) / "store.sqlite") as store:
        client = people.add_client(store, name="Ada Example")
        for kind in ("service", "research"):
            people.set_consent(store, client.id, kind, True)
        sweep = stored(store, client_id=client.id, simulated=False)
        visit = visits.begin_visit(store, client.id, store.sweep(sweep).session_id)
        for kind, content in (("intake", CASE.intake), ("measured", CASE.measured), ("decision", DECISION)):
            visits.add_note(store, visit, kind, content.model_dump(mode="json"))
        visits.add_note(store, visit, "override", CASE.overrides[0])
        return own_page(plain(kept_about(store, client.id, [sweep])))
