"""What a refused body is told: the field and what was expected, in plain words."""

import asyncio
from dataclasses import replace

import httpx
import pytest
from fastapi import FastAPI

from daq.live.session.occupied import Occupied
from daq.live.web.problems import MEDIA_TYPE, add_errors
from daq.refusals import BadValue, Doubted, NotNow
from daq.sweep.run import Trigger
from tests.live.bench.simulated import WANTED
from tests.live.visits import INTAKE, all_well, arrived, on_the_jig

REFUSED = [
    ("PATCH", "visit/measured", {"height_mm": 73}, "height_mm: expected greater than or equal to 400"),
    ("PATCH", "visit/measured", {"banana": 1}, "banana: is not known here"),
    ("POST", "typed/readings", {"hands": "12a"}, "hands: expected a number as the display shows it, such as 12.5"),
    ("POST", "proof", {"made_by": "", "dummy": None}, "made_by: write something"),
]


def test_a_refusal_names_the_field_and_what_was_expected(tmp_path):
    async def job(client, session):
        for method, path, body, said in REFUSED:
            answer = await client.request(method, f"/api/v1/{path}", json=body)
            assert answer.status_code == 422
            assert said in answer.json()["detail"]

    on_the_jig(tmp_path, job)


LEADS = [
    ("GET", "visit/evidence", None, "client"),
    ("POST", "feet-off", {}, "client"),
    ("POST", "sweep/more", {}, "plan"),
    ("POST", "step-notes", {"what": "hands", "value": 3}, "plan"),
    ("POST", "sweep/events", {"event": "pause"}, "plan"),
    ("POST", "typed/readings", {"hands": "12.5"}, "plan"),
    ("POST", "bench/steps", {"do": "read"}, "bench"),
    ("POST", "proof/steps", {"do": "again"}, "proof"),
    ("PATCH", "visit/measured", {"height_mm": 73}, None),
]
"""What a session refuses that nothing was done in yet, and where that is done which has to be done first."""


def test_a_refusal_names_the_place_where_that_is_done_which_has_to_be_done_first(tmp_path):
    found = []

    async def job(client, session):
        session.acquisition.seat(replace(session.acquisition.rider, mass_kg=None))

        async def asked(method, path, body):
            answer = (await client.request(method, f"/api/v1/{path}", json=body)).json()
            found.append((method, path, body, answer.get("see")))

        for method, path, body, _ in LEADS:
            await asked(method, path, body)
        await arrived(client)
        await asked("POST", "sweep/events", {"event": "begin"})
        await all_well(client, session)
        await asked("POST", "sweep/events", {"event": "resume"})
        await session.sweep.fitter(Trigger.BEGIN)
        await asked("POST", "bench", WANTED)
        await asked("PUT", "visit/intake", INTAKE)

    on_the_jig(tmp_path, job)

    assert found == [
        *LEADS,
        ("POST", "sweep/events", {"event": "begin"}, "checks"),
        ("POST", "sweep/events", {"event": "resume"}, "ride"),
        ("POST", "bench", WANTED, "ride"),
        ("PUT", "visit/intake", INTAKE, "ride"),
    ]


@pytest.mark.parametrize(("by", "to"), [("sweep", "ride"), ("bench", "bench"), ("proof", "proof")])
def test_whoever_has_the_jig_is_where_it_becomes_free(by, to):
    occupied = Occupied(**{name: lambda name=name: name == by for name in ("sweep", "bench", "proof")})

    with pytest.raises(NotNow) as refused:
        occupied.refuse("a zero is taken")
    assert refused.value.see == to


@pytest.mark.parametrize(
    ("error", "code"), [(Doubted("91.2: newtons?"), "doubted"), (BadValue("12a: a number?"), None)]
)
def test_only_what_looks_like_a_slip_has_the_code_by_which_the_page_asks_whether_it_is_so(error, code):
    """RFC 9457, 3.2: an extension member beside title, status and detail."""
    app = FastAPI()
    add_errors(app)

    @app.get("/")
    async def refused():
        raise error

    async def ask():
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://jig") as client:
            return await client.get("/")

    answer = asyncio.run(ask())

    assert (answer.status_code, answer.headers["content-type"]) == (422, MEDIA_TYPE)
    assert answer.json().get("code") == code
    assert answer.json()["detail"] == str(error)
