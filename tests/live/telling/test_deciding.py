"""Decision, printed page and follow-up over the daemon's own address, and what is left after a restart."""

import asyncio
import datetime
import json
from dataclasses import replace
from pathlib import Path

import pytest

from daq.fit.case import evidence_of
from daq.keep.again.case import case_of
from daq.keep.clients import people
from daq.keep.json_text import plain
from daq.keep.store import Store
from daq.sweep.run import ENDED, State, Trigger
from daq.values import Verdict
from tests.keep.told import answer
from tests.live.jig import SHORT
from tests.live.visits import all_well, arrived, on_the_jig
from tests.sources.waiting import until

ANSWERS = Path(__file__).parents[2] / "browser/answers.json"
DECISION = {"setback_mm": 58, "reason": "light hands", "decided_by": "B. Fitter", "recheck_on": "2099-12-16"}


async def ridden(client, session, *, cut_after=None):
    """A whole short sweep of a client, with a score at each step and one mark; stopped once on the way, if so said."""
    await arrived(client)
    await all_well(client, session)
    await session.sweep.fitter(Trigger.BEGIN)
    if cut_after is not None:
        await cut_short(client, session, cut_after)
    await finished(client, session)


async def finished(client, session):
    """What is set up or under way, ridden to its end."""
    if session.sweep.progress.state is State.WAITING:
        await session.sweep.fitter(Trigger.BEGIN)
    while session.sweep.progress.state not in ENDED:
        await confirmed(client, session)
        await asyncio.sleep(0.02)


async def confirmed(client, session):
    """The saddle put where it is asked, if it is; the rider says a score, and at the third step the hands move."""
    if session.sweep.progress.state is not State.MOVING:
        return
    await session.sweep.fitter(Trigger.SADDLE_MOVED, session.sweep.progress.asked_setback_mm)
    step = len(session.sweep.progress.steps)
    answer = await client.post("/api/v1/step-notes", json={"what": "hands", "value": step})
    assert answer.json()["notes"] == {"hands": step}
    if step == 2:
        await client.post("/api/v1/marks", json={"text": "hands moved"})


async def cut_short(client, session, after):
    """Stopped after so many steps, which ends the sweep in the store too, and gone on with."""
    while len(session.sweep.progress.steps) < after:
        await confirmed(client, session)
        await asyncio.sleep(0.02)
    assert (await client.post("/api/v1/sweep/more", json={})).status_code == 409
    await session.sweep.fitter(Trigger.STOP)
    await until(lambda: 1 in session.visit.ridden)
    assert await state_in_store(session) == "stopped"
    assert (await client.get("/api/v1/sweep")).json()["sweep"]["may_go_on"]
    gone_on = (await client.post("/api/v1/sweep/more", json={})).json()
    assert (gone_on["state"], gone_on["step"], gone_on["may_go_on"]) == ("moving", after + 1, False)
    assert await state_in_store(session) is None


async def state_in_store(session):
    return await session.acquisition.ask(lambda store: store.sweep(1).state)


def test_a_decided_place_is_ridden_again_and_all_is_the_same_from_memory_and_from_the_store(tmp_path):
    told = {}

    async def job(client, session):
        await ridden(client, session, cut_after=4)
        told["evidence"] = (await client.get("/api/v1/visit/evidence")).json()
        await opened(client, session)
        await decided(client, session, told)
        told["ridden"] = list(session.visit.ridden.values())
        saved = json.loads(ANSWERS.read_text())
        assert set(saved["visit/evidence"]) == set(told["evidence"])
        assert set(saved["visit"]["visit"]) == set((await client.get("/api/v1/visit")).json()["visit"])
        assert set(saved["follow-ups"][0]) == set((await client.get("/api/v1/follow-ups")).json()[0])
        assert set(saved["clients"][0]) == set((await client.get("/api/v1/clients")).json()[0])

    on_the_jig(tmp_path, job)
    with Store.open(tmp_path / "demo.sqlite", write=False) as store:
        case = case_of(store, 1, {})
    assert [repr(one) for one in case.sweeps] == [repr(one) for one in told["ridden"]]
    first, again, *_ = case.sweeps
    assert first.notes == {i: {"hands": float(i)} for i in range(6)}
    # The third position of the plan: 80, 60, 40 mm out, then back.
    assert first.marks == ("hands moved at 40 mm",)
    assert (again.plan.purpose, again.onset, len(again.steps)) == ("confirm", None, 4)
    assert case.decision.reason == "light hands"
    evidence = evidence_of(case)
    assert [sign["stands"] for sign in told["evidence"]["signs"]] == [str(sign.stands) for sign in evidence.signs]
    shown = told["shown"]
    assert plain(evidence.confirmed[0].differences) == shown["confirmed"][0]["differences"]
    assert shown["confirmed"][0]["visits"] == [2, 2]
    assert [one["done"] for one in shown["wanted"]] == [True]
    assert "Ridden again on the level</strong>, 58 mm against 75 mm by turns" in told["page"]


async def told_by(client, session, **answer):
    """What is suggested, and foretold of another day, if the sweep had given this answer and its plan asked for another
    day's chance.
    """
    seen = session.visit.ridden[1]
    plan = replace(seen.plan, chance_of="another day")
    session.visit.ridden[1] = replace(seen, plan=plan, onset=replace(seen.onset, **answer))
    found = [(await client.get(f"/api/v1/visit/{path}")).json() for path in ("evidence", "days")]
    session.visit.ridden[1] = seen
    return found[0]["suggested"], found[1]


async def ridden_again_on_the_climb(client, session):
    """Once a climb was ridden, the decision needs its confirm ride there as well."""
    climb = replace(SHORT, positions_mm=(75.0, 58.0, 40.0), gradient_pct=4.5, purpose="check", label="climb check")
    await session.sweep.begin(climb)
    await until(lambda: not session.visit.in_the_way())
    await finished(client, session)
    asked = (await client.get("/api/v1/visit/confirm?setback_mm=58")).json()["wanted"]
    assert [(one["gradient_pct"], one["done"]) for one in asked] == [(0.0, True), (4.5, False)]
    assert (await client.put("/api/v1/visit/decision", json=DECISION)).status_code == 422
    sweep = (await client.post("/api/v1/visit/confirm", json={"setback_mm": 58, "gradient_pct": 4.5})).json()
    assert (sweep["gradient_pct"], len(sweep["planned_mm"])) == (4.5, 4)
    await until(lambda: not session.visit.in_the_way())
    await finished(client, session)
    shown = (await client.get("/api/v1/visit/confirm?setback_mm=58")).json()
    assert [one["done"] for one in shown["wanted"]] == [True, True]
    assert [(one["gradient_pct"], one["visits"]) for one in shown["confirmed"]] == [(0.0, [2, 2]), (4.5, [2, 2])]


async def opened(client, session):
    """A step shows the strokes its mean rests on, while it is the last sweep's and as evidence alike."""
    of_ride, of_evidence = "/api/v1/sweep/steps", "/api/v1/visit/sweeps/1/steps"
    step = (await client.get(f"{of_ride}/2")).json()
    assert step == (await client.get(f"{of_evidence}/2")).json()
    used = [one["hands_n"] for one in step["strokes"] if not one["left_out"]]
    assert sum(used) / len(used) == pytest.approx(step["hand_load_n"])
    left_out = session.sweep.progress.steps[2].left_out
    assert [one["left_out"] for one in step["strokes"] if one["left_out"]] == [one.why for one in left_out]
    again = (await client.get("/api/v1/visit/sweeps/1/recalibrated")).json()
    assert again["same"], again
    assert [one["now_n"] for one in again["steps"]] == [one["was_n"] for one in again["steps"]]
    pseudonym = session.visit.client.pseudonym
    sheet = (await client.get(f"/api/v1/clients/{pseudonym}/hand-over")).text
    told = (
        "Ada Example",
        pseudonym,
        "<dt>mass</dt><dd>75 kg</dd>",
        "place hands, score 6, side left",
        "the fitting and its records: yes",
    )
    for said in told:
        assert said in sheet, said
    assert (await client.get("/api/v1/clients/R-NOBODY/hand-over")).status_code == 404
    for path in (f"{of_ride}/99", "/api/v1/visit/sweeps/99/steps/0"):
        assert (await client.get(path)).status_code == 404


async def decided(client, session, told):
    """The decision: refused before its confirm ride, taken after it, and with a reason where none was ridden."""
    refused = await client.put("/api/v1/visit/decision", json=DECISION)
    assert refused.status_code == 422
    assert "58 mm was not ridden against the present place on the level" in refused.json()["detail"]
    asked = (await client.get("/api/v1/visit/confirm?setback_mm=58")).json()
    assert [(one["where"], one["done"]) for one in asked["wanted"]] == [("on the level", False)]
    assert asked["confirmed"] == []
    for body in ({"setback_mm": 75.5}, {"setback_mm": 58, "gradient_pct": 6}):
        assert (await client.post("/api/v1/visit/confirm", json=body)).status_code == 422
    sweep = (await client.post("/api/v1/visit/confirm", json={"setback_mm": 58})).json()
    assert sorted(sweep["planned_mm"][:2]) == [58.0, 75.0]
    assert sweep["planned_mm"][2:] == sweep["planned_mm"][:2]
    assert (sweep["blinded"], sweep["purpose"]) == (True, "confirm")
    await finished(client, session)
    told["shown"] = (await client.get("/api/v1/visit/confirm?setback_mm=58")).json()
    await ridden_again_on_the_climb(client, session)
    elsewhere = DECISION | {"setback_mm": 62}
    assert (await client.put("/api/v1/visit/decision", json=elsewhere)).status_code == 422
    unridden = elsewhere | {"not_confirmed": "the client has to <catch> a train"}
    assert (await client.put("/api/v1/visit/decision", json=unridden)).status_code == 200
    page = (await client.get("/api/v1/visits/1/report")).text
    assert "Not ridden again before it was printed:</strong> the client has to &lt;catch&gt; a train." in page
    assert (await client.put("/api/v1/visit/decision", json=DECISION)).status_code == 200
    told["page"] = (await client.get("/api/v1/visits/1/report")).text


def test_an_earlier_visit_is_laid_beside_with_a_caution(tmp_path):
    async def job(client, session):
        await ridden(client, session)
        (known,) = (await client.get("/api/v1/clients")).json()
        assert (await client.get("/api/v1/visit/before")).json() == {"before": None}
        decided = await client.put("/api/v1/visit/decision", json=DECISION | {"not_confirmed": "late"})
        assert decided.status_code == 200
        assert DECISION["setback_mm"] in decided.json()["climb_check"]["positions_mm"]
        await client.post("/api/v1/visit", json={"pseudonym": known["pseudonym"]})
        before = (await client.get("/api/v1/visit/before")).json()["before"]
        assert (before["on"], len(before["steps"])) == (known["since_utc"][:10], 6)
        kept = (await client.get("/api/v1/visit")).json()["visit"]["intake"]
        await client.put("/api/v1/visit/intake", json={**kept, "mass_kg": 80.0})
        alone = (await client.get("/api/v1/visit/evidence")).json()
        assert [one["visit_id"] for one in alone["earlier"]] == [1]
        assert (alone["sweeps"], alone["differences"]) == ([], [])
        both = (await client.get("/api/v1/visit/evidence?compare=1")).json()
        assert [sweep["name"][:7] for sweep in both["sweeps"]] == ["level, "]
        assert any("another day" in text for text in both["differences"])
        assert "mass: 75 kg then, 80 kg now" in both["differences"]
        assert (await client.get("/api/v1/visit/evidence?compare=2")).status_code == 422

    on_the_jig(tmp_path, job)


def test_a_decision_brings_the_client_to_the_follow_up_and_an_answer_is_compared(tmp_path, monkeypatch):
    async def job(client, session):
        await arrived(client)
        assert (await client.get("/api/v1/follow-ups")).json() == []
        await client.put("/api/v1/visit/decision", json=DECISION)
        (due,) = (await client.get("/api/v1/follow-ups")).json()
        assert (due["due_on"], due["is_due"], due["outcome"]) == ("2099-12-16", False, None)
        monkeypatch.setattr(people, "today", lambda: datetime.date(2099, 12, 16))
        assert (await client.get("/api/v1/follow-ups")).json()[0]["is_due"]
        answer = {"outcome": "better", "symptoms": [{"place": "hands", "side": "left", "score": 2}]}
        assert (await client.put("/api/v1/visits/1/follow-up", json=answer)).status_code == 200
        (asked,) = (await client.get("/api/v1/follow-ups")).json()
        assert (asked["outcome"], asked["changes"]) == ("better", ["hands, left: 6 to 2"])
        assert not asked["is_due"], "who has answered is not asked again"
        back = (await client.post("/api/v1/visit", json={"pseudonym": asked["pseudonym"]})).json()
        assert back["intake"]["saddle"]["setback_mm"] == DECISION["setback_mm"]
        assert back["intake"]["symptoms"] == answer["symptoms"]
        assert "as decided on" in back["returning"]

    on_the_jig(tmp_path, job)


def test_the_page_is_served_for_its_visit_and_for_no_other(tmp_path):
    async def job(client, session):
        await arrived(client)
        await client.put("/api/v1/visit/decision", json=DECISION)
        page = await client.get("/api/v1/visits/1/report")
        assert page.headers["content-type"].startswith("text/html")
        assert "light hands" in page.text
        assert "Ada Example" not in page.text
        assert (await client.get("/api/v1/visits/9/report")).status_code >= 400

    on_the_jig(tmp_path, job)


def test_without_a_client_there_is_nothing_to_decide(tmp_path):
    async def job(client, session):
        assert (await client.put("/api/v1/visit/decision", json=DECISION)).status_code == 409
        refused = await client.get("/api/v1/visit/evidence")
        assert refused.status_code == 409
        assert "client" in refused.json()["detail"]

    on_the_jig(tmp_path, job)


def test_a_plan_is_sketched_without_being_set(tmp_path):
    async def job(client, session):
        sketch = {"rear_mm": 80, "front_mm": 30, "apart_mm": 10, "sham": True, "protocol": "bar fixed"}
        told = (await client.post("/api/v1/plan", json=sketch)).json()
        assert told["positions_mm"] == [80, 60, 40, 40, 30, 50, 70, 50, 80]
        assert told["scatter"].startswith("assumed")
        assert told["best"]["sentence"].startswith("best for 8 minutes")
        assert any(caution.startswith("bar fixed") for caution in told["cautions"])
        assert session.sweep.progress is None
        refused = await client.post("/api/v1/plan", json=sketch | {"apart_mm": 40})
        assert (refused.status_code, "apart_mm" in refused.json()["detail"]) == (422, True)

    on_the_jig(tmp_path, job)


def test_another_day_is_foretold_beside_today_and_the_workshop_learns(tmp_path):
    told = []

    async def job(client, session):
        async def answered(content):
            keep = {"kind": "onset", "method": content.method, "content": plain(content)}
            await session.acquisition.ask(lambda store: store.put_result(1, **keep))
            told.append([(await client.get(f"/api/v1/{path}")).json() for path in ("visit/days", "panel")])
            told[-1] += await told_by(client, session, verdict=Verdict.ONSET, onset_mm=55.0, suggested_setback_mm=60.0)

        await arrived(client)
        assert (await client.get("/api/v1/visit/days")).json()["why_not"] == "no sweep was ridden in this visit"
        assert (await client.get("/api/v1/panel")).json() == {"who": [], "panel": None, "left_out": {}}
        await ridden(client, session)
        await answered(answer(52.0))
        told.append(await told_by(client, session, verdict=Verdict.LIGHT, onset_mm=None, interval_95_mm=None))
        await answered(answer(52.0, forbidden=True))

    on_the_jig(tmp_path, job)
    (_, panel, suggested, named), unnamed, (_, empty, without, forbidden) = told

    assert "on another day" in suggested["said"]
    assert without["said"].startswith("Nothing can be said of another day yet.")
    nothing = {"days": None, "why_not": "no onset is named, so nothing is foretold of another day"}
    assert unnamed == (None, nothing)

    assert named["why_not"] is None
    low_mm, high_mm = named["days"]["another_day_mm"]
    assert high_mm - low_mm > 20.0
    assert named["days"]["chances"][0].keys() == {"setback_mm", "today", "another_day"}
    assert named["days"]["helps"][0]["what"] == "nothing more"
    assert panel["panel"]["sweeps"] == 1
    assert set(panel["panel"]) == set(json.loads(ANSWERS.read_text())["panel"]["panel"])
    assert forbidden == {"days": None, "why_not": empty["left_out"]["1"]}
    assert "the hips slid on the saddle" in forbidden["why_not"]
    assert empty["panel"] is None


def test_a_re_check_before_the_last_stage_is_refused(tmp_path):
    async def job(client, session):
        await arrived(client)
        refused = await client.put("/api/v1/visit/decision", json=DECISION | {"recheck_on": people.today().isoformat()})
        assert refused.status_code == 422
        # 75 to 58 mm are four stages, the last set three weeks after the first.
        last = people.today() + datetime.timedelta(days=21)
        assert f"expected {last} or later" in refused.json()["detail"]

    on_the_jig(tmp_path, job)
