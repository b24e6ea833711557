"""A proof on a session, over the address as the page does it: what is refused, gone on with, done again."""

import asyncio
from urllib.parse import quote

import httpx
import pytest
import uvloop

from daq.keep.proofs import keep, load
from daq.keep.store import Store
from daq.live.daemon import listen, serve, url_of
from daq.live.proving.simulated import SimulatedProof
from daq.measure.cell_checks import PLUGS
from daq.proof.tasks import hung_n
from daq.rider.proof_faults import FAULTS
from tests.proof.simulated_sheet import DUMMY, SOUND, sheet_without

ASKED = {"made_by": "R. Doe", "placements": 3, "read_s": 1.0, "dummy": DUMMY.model_dump()}
PACE = 40.0


def at_the_address(folder, inside, **options):
    """`inside(client, session)` on a simulated jig with its dummy; what it gives."""

    async def all_of_it():
        found = []
        made = SimulatedProof(Store.open(folder / "s.sqlite"), seed=3, pace=PACE, **options)
        listener = listen("127.0.0.1", 0)

        async def until():
            while not made.session.acquisition.pipeline.channels:
                await asyncio.sleep(0.01)
            async with httpx.AsyncClient(base_url=f"{url_of(listener)}api/v1", timeout=60) as client:
                found.append(await inside(client, made.session))

        await serve(made.session, made.links, listener=listener, until=until())
        return found[0]

    return uvloop.run(all_of_it())


async def worked(client, until=None):
    """Do what is due with what the simulated instruments show, to this task."""
    while (now := (await client.get("/proof")).json()["proof"])["task"] is not None and now["task"]["id"] != until:
        await client.post("/proof/steps", json={"do": "done", "typed": now["shown"]})
    return now


async def refused(asked):
    answer = await asked
    return answer.status_code, answer.json()["detail"]


@pytest.fixture(scope="module")
def left(tmp_path_factory):
    """A proof of a jig with 2 % of gain, left after the weights: the folder, what was answered, the zero it had."""
    folder = tmp_path_factory.mktemp("page")

    async def inside(client, session):
        said = {"none": (await client.get("/proof")).json()}
        said["begun"] = (await client.post("/proof", json=ASKED)).json()["proof"]
        said["two"] = await refused(client.post("/proof/steps", json={"do": "done", "typed": {"gap_mm": 1.0}}))
        said["again"] = await refused(client.post("/proof/steps", json={"do": "again"}))
        await worked(client, "scale/forward/80")
        said["bare"] = await refused(client.post("/proof/steps", json={"do": "done", "typed": {}}))
        said["far"] = await refused(client.post("/proof/steps", json={"do": "done", "typed": {"caliper_mm": 600.0}}))
        said["zero"] = await refused(client.post("/zero", json={}))
        said["sweep"] = await refused(client.post("/sweeps", json={"positions_mm": [80, 70, 60, 50, 40, 30, 20]}))
        said["second"] = await refused(client.post("/proof", json=ASKED))
        said["done before"] = await refused(
            client.post("/proof/steps", json={"do": "done", "task": "scale/forward/100", "typed": {"caliper_mm": 79.8}})
        )
        redone = (await client.post("/proof/steps", json={"do": "again"})).json()["proof"]
        said["redone"] = redone["task"]["id"]
        said["at_weights"] = await worked(client, "saddle/0")
        said["left"] = (await client.post("/proof/steps", json={"do": "leave"})).json()
        said["kept"] = (await client.get("/proofs")).json()
        said["unfinished"] = await refused(client.get(f"/proofs/{said['kept'][0]['name']}/certificate"))
        said["nowhere"] = await refused(client.post("/proof/resume", json={"name": "nowhere"}))
        return said, session.acquisition.pipeline.zero_counts.tolist()

    return folder, *at_the_address(folder, inside, wrong=FAULTS["gain"])


def test_without_a_proof_the_page_is_told_the_cautions(left):
    _, said, _ = left

    assert said["none"]["proof"] is None
    assert "Nobody sits on the jig" in said["none"]["caution"]
    assert (said["begun"]["task"]["id"], said["begun"]["done"]) == ("empty", 0)


@pytest.mark.parametrize(
    ("which", "status", "sentence"),
    [
        ("two", 422, "expected no value, got gap_mm"),
        ("again", 409, "nothing was read yet"),
        ("bare", 422, "expected caliper_mm, got none"),
        ("far", 422, "measure again, from the BB"),
        ("done before", 409, "that one is done already, perhaps on another page"),
        ("zero", 409, "the jig is being put to the proof"),
        ("sweep", 409, "finish or leave that before a sweep is set up"),
        ("second", 409, "the jig is being put to the proof"),
        ("unfinished", 422, "the proof is not finished: next is saddle/0"),
        ("nowhere", 404, "no proof nowhere is kept"),
    ],
)
def test_what_does_not_fit_is_refused_in_a_sentence(left, which, status, sentence):
    _, said, _ = left

    assert said[which][0] == status
    assert sentence in said[which][1]


def test_the_last_one_is_done_again_and_both_readings_stay(left):
    folder, said, _ = left
    sheet = load(folder / "proofs" / f"{said['kept'][0]['name']}.json")

    assert said["redone"] == "scale/forward/100"
    assert [one.task for one in sheet.readings].count("scale/forward/100") == 2
    assert said["left"]["proof"] is None
    assert said["kept"][0]["done"] == len(sheet.latest()) == said["at_weights"]["done"]


def test_a_proof_goes_on_in_another_session_with_its_zero_and_in_time(left):
    folder, said, zero_counts = left
    name = said["kept"][0]["name"]

    async def inside(client, session):
        before = await client.post("/proof/resume", json={"name": name})
        await worked(client, "saddle/3")
        return before.json()["proof"], session.acquisition.pipeline.zero_counts.tolist()

    now, zero_then = at_the_address(folder, inside, wrong=FAULTS["gain"])

    readings = load(folder / "proofs" / f"{name}.json").readings
    assert now["task"]["id"] == "saddle/0"
    assert zero_then == zero_counts
    assert [one.t_min for one in readings] == sorted(one.t_min for one in readings)
    on_saddle = [one.saddle_n for one in readings if one.task.startswith("saddle/")]
    laid = hung_n(load(folder / "proofs" / f"{name}.json"), "saddle")[:3]
    assert on_saddle == pytest.approx(laid, abs=0.5)


def test_a_sheet_of_a_jig_with_another_part_does_not_go_on(left, tmp_path):
    folder, said, _ = left
    name = said["kept"][0]["name"]
    text = (folder / "proofs" / f"{name}.json").read_text()
    parts = load(folder / "proofs" / f"{name}.json").parts
    (tmp_path / "proofs").mkdir()
    (tmp_path / "proofs" / f"{name}.json").write_text(text.replace(parts, "another"))

    async def inside(client, _):
        return await refused(client.post("/proof/resume", json={"name": name}))

    status, detail = at_the_address(tmp_path, inside)

    assert status == 422
    assert "a part has changed since: begin a new sheet" in detail


def test_a_proof_whose_dummy_pulls_more_than_a_saddle_bears_suspects_no_plugs(tmp_path):
    """A rider's hands never carry more than the saddle, so swapped plugs are suspected after ten seconds of it."""
    (tmp_path / "proofs").mkdir()
    keep(sheet_without("loaded/5", wrong=SOUND), tmp_path / "proofs" / "p.json")

    async def inside(client, session):
        await client.post("/proof/resume", json={"name": "p"})
        at = session.acquisition
        while not at.pipeline.cells.troubles:
            await asyncio.sleep(0.01)
        loaded, from_us = dict(at.pipeline.cells.troubles), at.clock.now_us()
        while at.clock.now_us() < from_us + 5e6:
            await asyncio.sleep(0.01)
        return loaded, [one.text for one in at.notices]

    loaded, notices = at_the_address(tmp_path, inside)

    assert set(loaded) == {PLUGS}
    assert not [text for text in notices if "plugs" in text]


def test_a_sheet_is_called_as_its_owner_likes_and_has_its_certificate(tmp_path):
    (tmp_path / "proofs").mkdir()
    name = "pr\u00fcfung 2. version.b"
    keep(sheet_without(wrong=SOUND), tmp_path / "proofs" / f"{name}.json")

    async def inside(client, _):
        return (await client.get("/proofs")).json(), await client.get(f"/proofs/{quote(name)}/certificate")

    kept, page = at_the_address(tmp_path, inside)

    assert [one["name"] for one in kept] == [name]
    assert page.status_code == 200
    assert "not an accredited test" in page.text
