"""A practised visit: ridden by hand on the demo's rider, ended by a decision, looked back on from its own store."""

import asyncio
from dataclasses import replace

from daq.fit.intake import RED_FLAGS, Intake, Saddle
from daq.fit.practice import broken, truth_said
from daq.fit.prechecks import CheckState
from daq.keep.store import Store
from daq.live.daemon import listen
from daq.live.demo import PLAN, follow_plan
from daq.live.practice import Practice
from daq.sources.loop import run
from daq.sweep.plan import out_and_back

SHORT = replace(PLAN, positions_mm=out_and_back(80.0, 30.0, 7), dwell_s=12.0)


def test_a_practised_visit_ends_with_its_decision_and_is_told_the_truth(tmp_path, monkeypatch):
    monkeypatch.setattr("daq.live.practice.LAST_LOOK_S", 0.1)
    path = tmp_path / "practice.sqlite"
    practice = Practice(Store.open(path), kind="hinge", seed=1, pace=50.0, wrong=())
    session = practice.demo.session

    async def visit():
        client = await session.visit.new_client(name="Nobody", consents={})
        await session.visit.open(client.pseudonym)
        await session.visit.take_intake(Intake(mass_kg=75.0, saddle=Saddle(reference="nose"), cleared=tuple(RED_FLAGS)))
        while not session.acquisition.pipeline.channels:
            await asyncio.sleep(0.01)
        await session.sweep.begin(PLAN)
        for key in [check.key for check in session.visit.checks() if check.state is CheckState.OPEN]:
            await session.visit.override(key, "practice")
        await follow_plan(session, SHORT)
        await session.visit.decide({"setback_mm": 40.0})

    async def visited():
        return (await asyncio.gather(practice.run(listen("127.0.0.1", 0)), visit()))[0]

    assert run(asyncio.wait_for(visited(), 120)) is None
    with Store.open(path, write=False) as store:
        practised = practice.look_back(store)

    assert "it holds the truth" in truth_said(practised)[-1]
    said = broken(practised)
    assert any("forward of the onset" in one for one in said)
    assert any("moved and measured?" in one for one in said)
    assert any("gone on without" in one for one in said)
    moved = [moment.text for moment in practised.moments if moment.what == "moved"]
    assert moved == [f"{mm:g} mm" for mm in SHORT.positions_mm]
