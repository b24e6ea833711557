"""What a refused body is told: the field and what was expected, in plain words."""

import asyncio

import httpx
import pytest
from fastapi import FastAPI

from daq.live.web.problems import MEDIA_TYPE, add_errors
from daq.refusals import BadValue, Doubted
from tests.live.visits import on_the_jig

REFUSED = [
    ("PATCH", "visit/measured", {"height_mm": 73}, "height_mm: expected greater than or equal to 400"),
    ("PATCH", "visit/measured", {"banana": 1}, "banana: is not known here"),
    ("POST", "typed/readings", {"hands": "12a"}, "hands: expected a number as the display shows it, such as 12.5"),
    ("POST", "proof", {"made_by": "", "dummy": None}, "made_by: write at least 1 letters"),
]


def test_a_refusal_names_the_field_and_what_was_expected(tmp_path):
    async def job(client, session):
        for method, path, body, said in REFUSED:
            answer = await client.request(method, f"/api/v1/{path}", json=body)
            assert answer.status_code == 422
            assert said in answer.json()["detail"]

    on_the_jig(tmp_path, job)


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
