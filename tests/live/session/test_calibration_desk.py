"""Calibration over the daemon's own address: the daily check, doubts, a verdict that a bad standing forbids."""

import asyncio
import dataclasses
import json

import pytest

from daq.keep.store import Store, calibrations
from daq.live.bench.standing import standing_of
from daq.live.session import calibration_desk, zero_desk
from daq.live.session.acquisition import Rider
from daq.live.session.calibration_desk import waits_longest
from daq.live.session.occupied import Occupied
from daq.live.session.session import Session
from daq.live.telling.teller import Teller
from daq.measure.calibration import CalibratedChannel, Calibration
from daq.measure.calibration.doubts import Doubt, Doubtful
from daq.measure.calibration.status import SensitivityCheck, Standing
from daq.rig_file import parse_rig
from daq.sources.clock import SessionClock
from daq.sweep.run import ENDED, State, Trigger
from daq.wire.board import encode_command, set_gain
from tests.live.bench.simulated import on_bench, wanted, work_through
from tests.live.jig import SHORT
from tests.live.visits import on_the_jig
from tests.rigs import rig_text
from tests.sources.waiting import until

M1 = {"weights_class": "M1"}


async def quiet(session):
    """Two seconds of the empty jig are here."""
    await until(lambda: len(session.acquisition.pipeline.recent_counts()) > 150)


async def only_this(made):
    """All the scans of which a zero or a check is made were taken with what hangs now: at most 300."""
    await made.arrived()
    decoder = made.session.acquisition.sensors.decoder
    scans = decoder.scans
    await until(lambda: decoder.scans > scans + 400)


async def ridden(session):
    """A sweep from begin to end."""
    await session.sweep.begin(SHORT)
    await session.sweep.fitter(Trigger.BEGIN)
    while session.sweep.progress.state not in ENDED:
        if session.sweep.progress.state is State.MOVING and session.sweep.progress.asked_setback_mm is not None:
            await session.sweep.fitter(Trigger.SADDLE_MOVED, session.sweep.progress.asked_setback_mm)
        await asyncio.sleep(0.02)


def test_a_check_is_kept_whatever_it_says_and_a_weight_that_checks_nothing_is_refused(tmp_path):
    seen = {}

    async def job(client, session):
        await quiet(session)
        assert (await client.post("/api/v1/zero")).status_code == 200
        seen["too light"] = await client.post(
            "/api/v1/bench/checks", json={"on": "hands", "mass_kg": 0.1, "reference": M1}
        )
        seen["failed"] = await client.post("/api/v1/bench/checks", json={"on": "hands", "mass_kg": 20, "reference": M1})
        seen["nowhere"] = await client.post("/api/v1/bench/checks", json={"on": "feet", "mass_kg": 20, "reference": M1})
        seen["checks"] = session.calibrating.checks

    on_the_jig(tmp_path, job)

    assert seen["too light"].status_code == 422
    assert "heavier" in seen["too light"].json()["detail"]
    assert "expected one of hands, saddle" in seen["nowhere"].json()["detail"]
    # nothing hangs on the simulated bar, so 20 kg are missing
    assert seen["failed"].json()["passed"] is False
    assert "expected within" in seen["failed"].json()["sentence"]
    with Store.open(tmp_path / "demo.sqlite", write=False) as store:
        kept = calibrations.calibrations(store)[0].calibration
        assert calibrations.checks(store, kept) == seen["checks"]


def test_a_zero_names_every_calibrated_cell_also_one_that_the_rig_does_not_use(tmp_path):
    async def job(client, session):
        channels = [
            channel.model_copy(update={"role": "unused"}) if channel.name == "hands_right" else channel
            for channel in session.acquisition.rig.channels
        ]
        session.acquisition.rig = session.acquisition.rig.model_copy(update={"channels": tuple(channels)})
        session.acquisition.use(session.acquisition.calibration)
        await quiet(session)
        answer = await client.post("/api/v1/zero")
        assert answer.status_code == 200
        assert list(answer.json()["moved_n"]) == ["hands_left", "hands_right", "saddle_nose", "saddle_rear"]

    on_the_jig(tmp_path, job)


def test_a_weight_on_a_cell_calibrated_on_the_bench_passes(tmp_path):
    found = []

    async def job(made):
        desk = made.session.calibrating
        await desk.begin_bench(wanted(cells=("hands_left",), series=2))
        await work_through(made)
        await desk.use(desk.bench.calibration.id)
        made.hang({})
        await only_this(made)
        await made.session.zero.take()
        for load_n in (196.171, 190.0):
            made.hang({"hands_left": load_n})
            await only_this(made)
            weight = {"weights": wanted().reference.weights(), "u_gravity_relative": 1e-5}
            found.append(await desk.check(on="hands_left", load_n=196.171, **weight))

    on_bench(tmp_path / "s.sqlite", job)

    assert [check.passed for check in found] == [True, False]
    assert found[1].error_n == pytest.approx(-6.17, abs=0.3)


def test_a_calibration_that_may_not_be_trusted_forbids_the_verdict_and_not_the_recording(tmp_path):
    async def job(client, session):
        await quiet(session)
        await ridden(session)
        answers.append(session.acquisition.ride.onset)

    answers = []
    on_the_jig(tmp_path, job, simulated=False)

    assert answers[0].onset_mm is None
    assert "made on a simulated jig" in answers[0].reasons[0]
    with Store.open(tmp_path / "demo.sqlite", write=False) as store:
        begun = next(item for item in store.read_items(1) if getattr(item, "kind", "") == "sweep-begun")
        steps = store.results(1, "step")
    assert begun.content["calibration"]["standing"] == "simulated"
    assert len(steps) == len(SHORT.positions_mm)


def test_the_pages_are_told_of_doubtful_loads_and_of_a_zero_that_moved(tmp_path, monkeypatch):
    seen = {}

    async def job(client, session):
        await quiet(session)
        await client.post("/api/v1/zero")
        seen["well"] = session.zero.doubts()
        zero = session.acquisition.pipeline.zero_counts.copy()
        zero[0] += 8512.4 * 5.0
        session.acquisition.pipeline.zero_counts = zero
        seen["moved"] = session.zero.doubts()
        with monkeypatch.context() as during:
            during.setattr(Occupied, "taken_by", lambda _: "proof")
            seen["hung on purpose"] = session.zero.doubts()
        zero[0] += 8512.4 * 60.0
        session.acquisition.pipeline.zero_counts = zero.copy()
        seen["pulled"] = session.zero.doubts()
        page = Teller(session).join()
        while "text" not in seen:
            message = await page.get()
            if isinstance(message, str) and json.loads(message)["type"] == "sources":
                seen["text"] = json.loads(message)["doubts"]
                seen["expanded_n"] = json.loads(message)["expanded_n"]
        seen["notes"] = [note.text for note in session.acquisition.notices]

    on_the_jig(tmp_path, job)

    assert seen["well"] == ()
    assert "zero has moved by -5.0" in " ".join(one.sentence for one in seen["moved"])
    assert [str(one.kind) for one in seen["hung on purpose"]] == ["below-zero"]
    assert [str(one.kind) for one in seen["pulled"]] == ["below-zero"]
    assert seen["text"][0]["on"] == "hands"
    # two cells of the demo's budget each, which is a few tenths of a newton at nothing
    assert 0.1 < seen["expanded_n"]["hands"] < 1.0
    assert 0.1 < seen["expanded_n"]["saddle"] < 1.0
    assert "pulled up by 65.0 N" in " ".join(seen["notes"])


def test_calibrations_are_listed_fetched_and_taken_into_use_over_the_address(tmp_path):
    async def job(client, session):
        other = dataclasses.replace(session.acquisition.calibration, id="later")
        await session.acquisition.ask(lambda store: calibrations.keep(store, other))
        listed = (await client.get("/api/v1/calibrations")).json()
        assert [one["id"] for one in listed] == ["later", "simulated"]
        assert (await client.get("/api/v1/calibrations/later")).json()["id"] == "later"
        missing = await client.get("/api/v1/calibrations/simulated/certificate")
        assert missing.status_code == 404
        assert "came as a file" in missing.json()["detail"]
        assert (await client.post("/api/v1/calibrations/use", json={"name": "later"})).json()["id"] == "later"
        assert session.acquisition.pipeline.calibration.id == "later"
        assert session.acquisition.pipeline.channels
        assert (await client.post("/api/v1/bench/steps", json={"do": "read"})).status_code == 409
        assert (await client.get("/api/v1/bench")).json()["bench"] is None

    on_the_jig(tmp_path, job)


def test_a_bench_over_the_address_refuses_what_does_not_fit(tmp_path):
    body = {"made_by": "R. Doe", "masses_kg": [5, 10, 20], "reference": M1}

    async def job(client, session):
        await quiet(session)
        for changes, says in (
            ({"masses_kg": [20, 10, 5]}, "lightest first"),
            ({"reference": {}}, "class"),
            ({"masses_kg": []}, "masses of weights in kilograms"),
            ({"cells": ["feet"]}, "no channel feet"),
        ):
            answer = await client.post("/api/v1/bench", json={**body, **changes})
            assert answer.status_code == 422
            assert says in answer.json()["detail"]
        assert (await client.post("/api/v1/bench", json=body)).status_code == 201
        assert (await client.post("/api/v1/bench/steps", json={"do": "skip"})).status_code == 409
        assert (await client.post("/api/v1/bench/steps", json={"do": "read"})).json()["reading"]["of_s"] > 60
        assert (await client.post("/api/v1/bench/steps", json={"do": "leave"})).json() is None
        assert (await client.post("/api/v1/bench/resume", json={})).json()["task"]["id"] == "warm-up"

    on_the_jig(tmp_path, job)


def test_a_zero_that_moves_during_a_sweep_is_kept_with_the_sweep(tmp_path, monkeypatch):
    """The scans of its steps do not show it: without the event a later computation would believe them."""
    faults = []

    async def job(client, session):
        await quiet(session)
        await client.post("/api/v1/zero")
        await session.sweep.begin(SHORT)
        moved = Doubtful(Doubt.ZERO_MOVED, "hands_left", "hands_left: the zero has moved by -5.0 N since it was taken")
        # as after a pause, the rider off the jig
        monkeypatch.setattr(zero_desk, "doubts_of_loads", lambda *_: (moved,))
        await until(lambda: session.acquisition.pipeline.faults)
        faults.extend(session.acquisition.pipeline.faults)

    on_the_jig(tmp_path, job)

    assert faults[0].lasting
    assert "zero has moved by -5.0" in faults[0].sentence
    with Store.open(tmp_path / "demo.sqlite", write=False) as store:
        kept = [item for item in store.read_items(1) if getattr(item, "kind", "") == "fault"]
    assert kept[0].content["sentence"] == faults[0].sentence
    assert "zero moved" in kept[0].content["part"]


def test_a_board_at_another_gain_than_calibrated_is_told_and_forbids_an_onset(tmp_path):
    """The bench keeps the gains with the calibration; each hello after it is compared."""
    seen = {}

    async def job(made):
        session, at = made.session, made.session.acquisition
        wish = wanted(cells=("hands_left",), masses_kg=(10, 20, 40), series=2)
        await session.calibrating.begin_bench(wish)
        await work_through(made)
        await session.calibrating.use(session.calibrating.bench.calibration.id)
        session.calibrating.leave_bench()
        seen["as calibrated"] = session.calibrating.status()
        made.board.side.hear(encode_command(set_gain(1, 0, 64)), 0)
        await until(lambda: at.sensors.greeting.channels[0].gain == 64)
        seen["after"] = session.calibrating.status()
        await until(lambda: any("was calibrated at gain 128" in note.text for note in at.notices))
        seen["stamp"] = session.calibrating.stamp()

    on_bench(tmp_path / "bench.sqlite", job)

    assert seen["as calibrated"].allows_verdict
    assert "hands_left was calibrated at gain 128, the board is at 64" in seen["after"].sentence
    assert seen["stamp"]["allows_verdict"] is False


def test_the_status_is_worked_out_once_a_second_and_at_once_when_what_it_rests_on_changes(monkeypatch):
    """Pages ask for it at every beat, and each answer looks at every check."""
    channel = CalibratedChannel("hands", "force", (0.0, 1e-4))
    made = Calibration("bench", "2026-01-01T00:00:00+00:00", (channel,))
    rig = parse_rig(rig_text('[board]\nport = "/dev/none"', {"hands": "hands"}))
    desk = Session(rig, made, SessionClock(), Rider("R-0000", 75.0)).calibrating
    now, asked = ["2026-01-01T00:00:01+00:00"], []
    monkeypatch.setattr(calibration_desk, "utc_now", lambda: now[0])

    def asking(*rests_on, **also):
        asked.append(rests_on)
        return standing_of(*rests_on, **also)

    monkeypatch.setattr(calibration_desk, "standing_of", asking)

    assert [desk.status().standing for _ in range(20)] == [Standing.VALID] * 20
    assert len(asked) == 1
    desk.checks = (SensitivityCheck("hands", now[0], 200.0, 0.1, 100.0, 1.0),)
    assert desk.status().standing is Standing.CHECK_FAILED
    desk.checks = ()
    now[0] = "2028-01-01T00:00:00+00:00"
    assert desk.status().standing is Standing.EXPIRED
    assert len(asked) == 3


def test_of_two_scales_the_one_that_lacks_a_check_is_named():
    def at(channel, day, shown_n=200.0):
        return SensitivityCheck(channel, f"2026-01-0{day}T08:00:00+00:00", 200.0, 0.1, shown_n, 1.0)

    both = ("hands", "saddle")

    assert waits_longest((), both) == ("hands", ())
    assert waits_longest((at("hands", 2),), both) == ("saddle", ())
    assert waits_longest((at("hands", 1), at("saddle", 2)), both) == ("hands", (at("hands", 1),))
    failed = at("saddle", 2, 100.0)
    assert waits_longest((at("hands", 1), failed), both) == ("saddle", (failed,))
