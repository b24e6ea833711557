"""A client's visit over the daemon's own address: intake, checks, overrides, and what a sweep is stamped with."""

import asyncio

import pytest

from daq.fit.intake import RED_FLAGS
from daq.keep.clients import people, visits
from daq.keep.store import Store
from daq.keep.store.sessions import add_copy
from daq.refusals import NotNow
from daq.sweep.run import State, Trigger
from tests.keep.sweeps import stored
from tests.live.jig import SHORT
from tests.live.visits import INTAKE, all_well, arrived, empty, on_the_jig
from tests.sources.waiting import until


def test_without_consent_to_the_fitting_nothing_is_kept(tmp_path):
    async def job(client, session):
        answer = await client.post("/api/v1/clients", json={"name": "Ada Example", "service": False})
        assert answer.status_code == 422
        assert "consent" in answer.json()["detail"]
        assert (await client.get("/api/v1/clients")).json() == []

    on_the_jig(tmp_path, job)


def test_what_was_agreed_and_until_when_it_is_kept_can_be_changed(tmp_path):
    async def job(client, session):
        pseudonym = await arrived(client)
        (known,) = (await client.get("/api/v1/clients")).json()
        usual = (await client.get("/api/v1/visit")).json()["keep_until"]
        assert (known["keep_until"], known["overdue"], known["consents"]["research"]) == (usual, False, False)
        body = {"service": True, "research": True, "images": False, "keep_until": "2020-01-31"}
        said = (await client.put(f"/api/v1/clients/{pseudonym}/agreement", json=body)).json()
        assert (said["keep_until"], said["overdue"], said["consents"]["research"]) == ("2020-01-31", True, True)
        assert (await client.put("/api/v1/clients/R-NONE/agreement", json=body)).status_code == 404

    on_the_jig(tmp_path, job)


def test_with_consent_to_research_withdrawn_the_page_is_told_of_the_exports_already_made(tmp_path):
    async def job(client, session):
        pseudonym = await arrived(client)
        body = {"service": True, "research": True, "images": False, "keep_until": None}
        await client.put(f"/api/v1/clients/{pseudonym}/agreement", json=body)

        def exported(store):
            known = people.client_called(store, pseudonym)
            sweep_id = stored(store, client_id=known.id, simulated=False)
            with store.writing() as db:
                add_copy(db, "export", tmp_path / "study", [sweep_id])

        await session.acquisition.ask(exported)
        said = (await client.put(f"/api/v1/clients/{pseudonym}/agreement", json={**body, "research": False})).json()
        assert said["exports"] == [str(tmp_path / "study")]
        (known,) = (await client.get("/api/v1/clients")).json()
        assert known["exports"] == [str(tmp_path / "study")]

    on_the_jig(tmp_path, job)


def test_the_name_stays_on_the_client_list_and_reaches_no_stream(tmp_path):
    async def job(client, session):
        pseudonym = await arrived(client)
        (known,) = (await client.get("/api/v1/clients")).json()
        assert (known["name"], known["pseudonym"]) == ("Ada Example", pseudonym)
        assert "Ada" not in (await client.get("/api/v1/visit")).text

    on_the_jig(tmp_path, job)


def test_a_sweep_is_stamped_with_the_client_and_the_mass_of_the_intake(tmp_path):
    async def job(client, session):
        await arrived(client)
        await session.sweep.begin(SHORT)

    on_the_jig(tmp_path, job)
    with Store.open(tmp_path / "demo.sqlite", write=False) as store:
        (sweep,) = store.sweeps()
        (client,) = people.clients(store)
    assert sweep.client_id == client.id
    assert sweep.rider == {"pseudonym": client.pseudonym, "mass_kg": 75.0}


def test_a_sweep_does_not_begin_before_its_checks_and_says_which(tmp_path):
    async def job(client, session):
        await arrived(client)
        await session.sweep.begin(SHORT)
        refused = await client.post("/api/v1/sweep/events", json={"event": "begin"})
        assert refused.status_code == 409
        assert "zero" in refused.json()["detail"]
        assert session.sweep.progress.state is State.WAITING

    on_the_jig(tmp_path, job)


def test_with_everything_seen_to_it_begins_and_no_other_client_comes_meanwhile(tmp_path):
    async def job(client, session):
        pseudonym = await arrived(client)
        await all_well(client, session)
        assert (await client.post("/api/v1/sweep/events", json={"event": "begin"})).status_code == 200
        with pytest.raises(NotNow, match=r"a sweep is under way; .* a client is changed"):
            await session.visit.open(pseudonym)

    on_the_jig(tmp_path, job)


def test_the_sum_of_the_loads_is_judged_while_riding(tmp_path):
    async def job(client, session):
        await arrived(client)
        await empty(session)
        (check,) = [one for one in session.visit.checks() if one.key == "weights"]
        assert (check.state, check.said) == ("open", "not judged yet")
        await all_well(client, session)
        (check,) = [one for one in session.visit.checks() if one.key == "weights"]
        assert "the sum is plausible" in check.said
        too_light = {**INTAKE, "mass_kg": 50.0}
        await client.put("/api/v1/visit/intake", json=too_light)
        await until(lambda: "weights" in [one.key for one in session.visit.checks() if one.state == "open"])
        assert "Sum of the loads".lower() in str(session.visit.in_the_way())

    on_the_jig(tmp_path, job)


def test_holds_with_the_feet_off_are_added_up_kept_and_forgotten_with_the_next_zero(tmp_path):
    async def job(client, session):
        await arrived(client)
        await empty(session)
        first, second = [(await client.post("/api/v1/feet-off")).json() for _ in range(2)]
        assert (first["passed"], first["holds"], second["holds"]) == (False, 1, 2)
        assert "0.0 % of the weight with the feet off; hold at least 3 positions" in second["text"]
        await arrived(client)
        assert session.zero.holds_n == [], "another rider's are not added to these"
        await client.post("/api/v1/feet-off")
        await client.post("/api/v1/zero")
        assert session.zero.holds_n == []
        await session.sweep.begin(SHORT)
        await until(lambda: session.acquisition.stroke is not None)
        pedalling = await client.post("/api/v1/feet-off")
        assert pedalling.status_code == 422
        assert "feet off the pedals, sit still" in pedalling.json()["detail"]

    on_the_jig(tmp_path, job)
    with Store.open(tmp_path / "demo.sqlite", write=False) as store:
        kept = [item.content for item in store.read_items(1) if getattr(item, "kind", "") == "feet-off"]
    assert len(kept) == 3
    assert all(len(one["cells_n"]) == 4 for one in kept)


def test_the_power_sensors_zero_is_set_by_a_route_and_never_during_a_sweep(tmp_path):
    async def said():
        return "zero set, offset 10 N m"

    async def job(client, session):
        without = await client.post("/api/v1/power-zero")
        assert (without.status_code, without.json()["detail"][:24]) == (409, "no power sensor is linke")
        session.acquisition.sensors.compensate = said
        assert (await client.post("/api/v1/power-zero")).json() == {"said": "zero set, offset 10 N m"}
        await session.sweep.begin(SHORT)
        await session.sweep.fitter(Trigger.BEGIN)
        during = await client.post("/api/v1/power-zero")
        assert during.status_code == 409
        assert "a sweep is under way" in during.json()["detail"]

    on_the_jig(tmp_path, job)
    with Store.open(tmp_path / "demo.sqlite", write=False) as store:
        kept = [item.content for item in store.read_items(1) if getattr(item, "kind", "") == "power-zero"]
    assert kept == [{"said": "zero set, offset 10 N m"}]


def test_what_two_screens_measure_at_once_is_all_kept(tmp_path):
    async def job(client, session):
        await arrived(client)
        said = [{"cleats_set": False}, {"height_mm": 731.0}, {"saddle_tilt_deg": -2.0}]
        answers = await asyncio.gather(*(client.patch("/api/v1/visit/measured", json=one) for one in said))
        assert [answer.status_code for answer in answers] == [200, 200, 200]
        kept = (await client.get("/api/v1/visit")).json()["visit"]["measured"]
        assert (kept["cleats_set"], kept["height_mm"], kept["saddle_tilt_deg"]) == (False, 731.0, -2.0)
        assert kept["hands_marked"] is True

    on_the_jig(tmp_path, job)


def test_an_override_needs_a_typed_reason_and_is_kept(tmp_path):
    async def job(client, session):
        await arrived(client)
        path = "/api/v1/visit/overrides"
        short = await client.post(path, json={"check": "zero", "reason": ""})
        assert (short.status_code, short.json()["detail"]) == (422, "reason: write at least 3 letters")
        assert (await client.post(path, json={"check": "weather", "reason": "it rains"})).status_code == 422
        answer = await client.post(path, json={"check": "zero", "reason": "rider cannot step off"})
        (zero,) = [check for check in answer.json()["checks"] if check["key"] == "zero"]
        assert (zero["state"], zero["reason"]) == ("overridden", "rider cannot step off")

    on_the_jig(tmp_path, job)
    with Store.open(tmp_path / "demo.sqlite", write=False) as store:
        (note,) = visits.notes(store, 1, "override")
    assert note.content["reason"] == "rider cannot step off"
    assert note.content["said"] == "not taken today"


def test_a_trial_without_a_client_begins_without_checks_and_belongs_to_nobody(tmp_path):
    async def job(client, session):
        await session.sweep.begin(SHORT)
        await session.sweep.fitter(Trigger.BEGIN)
        assert session.sweep.progress.state is State.MOVING

    on_the_jig(tmp_path, job)
    with Store.open(tmp_path / "demo.sqlite", write=False) as store:
        assert store.sweeps()[0].client_id is None


def test_a_returning_client_starts_from_last_time_and_has_to_confirm(tmp_path):
    async def job(client, session):
        pseudonym = await arrived(client)
        opened = (await client.post("/api/v1/visit", json={"pseudonym": pseudonym.lower()})).json()
        assert opened["intake"]["inseam_mm"] == 815.0
        assert opened["returning"]
        assert "intake" in opened["in_the_way"]
        assert session.acquisition.rider.mass_kg is None
        assert opened["unanswered"] == list(RED_FLAGS)
        gone_through = await client.put("/api/v1/visit/intake?confirmed=false", json=INTAKE | {"mass_kg": 74.5})
        assert (gone_through.json()["returning"], gone_through.json()["begun"]["mass_kg"]) == (
            opened["returning"],
            74.5,
        )
        confirmed = (await client.put("/api/v1/visit/intake", json=INTAKE | {"mass_kg": 74.0})).json()
        assert not confirmed["returning"]
        assert session.acquisition.rider.mass_kg == 74.0

    on_the_jig(tmp_path, job)


def test_nobody_rides_before_every_red_flag_question_is_answered_and_a_yes_has_its_reason(tmp_path):
    async def job(client, session):
        async def asked(**answers):
            kept = INTAKE | {"cleared": []} | answers
            return (await client.put("/api/v1/visit/intake", json=kept)).json()

        await arrived(client)
        await all_well(client, session)
        assert (await asked())["unanswered"] == list(RED_FLAGS)
        assert "6 questions" in str(session.visit.in_the_way())
        refused = await client.post("/api/v1/sweep/events", json={"event": "begin"})
        assert (refused.status_code, "client screen" in refused.json()["detail"]) == (409, True)
        rest = [flag for flag in RED_FLAGS if flag != "night"]
        assert (await asked(cleared=rest))["unanswered"] == ["night"]
        await asked(cleared=rest, red_flags=["night"])
        assert "answered with yes" in str(session.visit.in_the_way())
        await asked(cleared=rest, red_flags=["night"], flag_reason="seen by her doctor in May")
        await until(lambda: not session.visit.in_the_way())

    on_the_jig(tmp_path, job)


def test_what_is_typed_is_kept_before_the_intake_is_whole(tmp_path):
    async def job(client, session):
        await client.post("/api/v1/clients", json={"service": True})
        half = {"goal": "light hands", "bicycle": {"wheelbase_mm": 985.0}, "post": {"rails_front_mm": 120.0}}
        told = (await client.put("/api/v1/visit/intake", json=half)).json()
        assert (told["begun"]["goal"], told["intake"]) == ("light hands", None)
        assert told["missing"] == ["mass as ridden", "what the setback is measured to"]
        assert "mass as ridden" in str(session.visit.in_the_way())
        whole = half | {"mass_kg": 75.0, "saddle": {"reference": "nose"}}
        assert (await client.put("/api/v1/visit/intake", json=whole)).json()["intake"]["goal"] == "light hands"
        await client.put("/api/v1/visit/intake", json=whole | {"mass_kg": None})
        assert "mass as ridden" in str(session.visit.in_the_way())

    on_the_jig(tmp_path, job)
    with Store.open(tmp_path / "demo.sqlite", write=False) as store:
        assert [note.kind for note in visits.notes(store, 1)] == ["begun-intake", "intake", "begun-intake"]


def test_a_client_entered_twice_is_one_while_the_visit_goes_on(tmp_path):
    async def job(client, session):
        first = await arrived(client)
        second = (await client.post("/api/v1/clients", json={"name": "A. Example", "service": True})).json()[
            "pseudonym"
        ]
        assert session.visit.begun is None, "nothing is known of a new client"
        would = (await client.get(f"/api/v1/clients/{first}/joined/{second}")).json()["said"]
        assert len((await client.get("/api/v1/clients")).json()) == 2, "asked only"
        waited, stored = [], session.acquisition.storing.stored

        async def noted():
            waited.append(await stored())

        session.acquisition.storing.stored = noted
        done = (await client.post(f"/api/v1/clients/{first}/joined", json={"other": second})).json()
        assert waited, "whose mass is on the jig is on the disk before it is answered"
        assert (done["said"], session.visit.client.pseudonym, session.visit.nth) == (would, first, 2)
        assert session.acquisition.rider.pseudonym == first
        assert session.visit.begun.mass_kg == INTAKE["mass_kg"], "last time's intake of the client it is"
        (known,) = (await client.get("/api/v1/clients")).json()
        assert (known["also"], known["visits"]) == ([second], 2)
        assert (await client.post(f"/api/v1/clients/{first}/joined", json={"other": second})).status_code == 422
        assert (await client.post(f"/api/v1/clients/{first}/joined", json={"other": "R-NONE"})).status_code == 404
        assert (await client.delete(f"/api/v1/clients/{second}/joined")).status_code == 200
        assert (session.visit.client.pseudonym, session.visit.nth) == (second, 1)

    on_the_jig(tmp_path, job)


def test_the_intake_gone_through_today_stays_when_the_client_turns_out_to_be_known(tmp_path):
    async def job(client, session):
        first = await arrived(client)
        second = (await client.post("/api/v1/clients", json={"name": "A. Example", "service": True})).json()
        await client.put("/api/v1/visit/intake", json=INTAKE | {"mass_kg": 68.0})

        await client.post(f"/api/v1/clients/{first}/joined", json={"other": second["pseudonym"]})

        assert (session.visit.client.pseudonym, session.visit.returning) == (first, "")
        assert session.visit.intake.mass_kg == session.acquisition.rider.mass_kg == 68.0

    on_the_jig(tmp_path, job)


def test_no_records_are_joined_while_somebody_rides(tmp_path):
    async def job(client, session):
        first, second = [(await session.acquisition.ask(people.add_client)).pseudonym for _ in range(2)]
        await session.sweep.begin(SHORT)
        await session.sweep.fitter(Trigger.BEGIN)
        for during in (
            await client.post(f"/api/v1/clients/{first}/joined", json={"other": second}),
            await client.delete(f"/api/v1/clients/{second}/joined"),
        ):
            assert during.status_code == 409
            assert "a sweep is under way" in during.json()["detail"]

    on_the_jig(tmp_path, job)


def test_a_red_flag_advises_a_clinician(tmp_path):
    async def job(client, session):
        await arrived(client)
        told = (await client.put("/api/v1/visit/intake", json=INTAKE | {"red_flags": ["numb"]})).json()
        assert "clinician" in told["advice"]
        assert "hours after a ride" in told["advice"]

    on_the_jig(tmp_path, job)


@pytest.mark.parametrize(
    ("wrong", "named"),
    [({"mass_kg": 7500}, "mass_kg"), ({"symptoms": [{"place": "hands", "score": 11}]}, "score"), ({"x": 1}, "x")],
)
def test_an_intake_that_cannot_be_is_refused_with_the_field(tmp_path, wrong, named):
    async def job(client, session):
        await arrived(client)
        answer = await client.put("/api/v1/visit/intake", json=INTAKE | wrong)
        assert answer.status_code == 422
        assert named in answer.json()["detail"]

    on_the_jig(tmp_path, job)


def test_the_next_client_sees_nothing_of_the_sweep_before(tmp_path):
    async def job(client, session):
        first = await arrived(client)
        await all_well(client, session)
        await session.sweep.fitter(Trigger.BEGIN)
        await session.sweep.fitter(Trigger.STOP)
        assert (await client.get("/api/v1/sweep")).json()["sweep"]["state"] == "stopped"
        second = await arrived(client)
        assert second != first
        assert (await client.get("/api/v1/sweep")).json() == {"sweep": {}, "steps": [], "onset": None}
        score = await client.post("/api/v1/step-notes", json={"what": "hands", "value": 3})
        assert score.status_code == 409
        await session.sweep.begin(SHORT)
        assert (await client.get("/api/v1/sweep")).json()["sweep"]["state"] == "waiting"

    on_the_jig(tmp_path, job)


def test_the_visits_of_a_client_are_counted_and_not_those_of_the_workshop(tmp_path):
    async def job(client, session):
        pseudonym = await arrived(client)
        await arrived(client)
        told = (await client.get("/api/v1/visit")).json()["visit"]
        assert (told["id"], told["nth"]) == (2, 1)
        again = (await client.post("/api/v1/visit", json={"pseudonym": pseudonym})).json()
        assert (again["id"], again["nth"]) == (3, 2)

    on_the_jig(tmp_path, job)
