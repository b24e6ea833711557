"""Screens that were let in, ended one by one and all at once, while the daemon runs; and for whom a proxy speaks."""

import asyncio
import contextlib
import json
import stat

import httpx
import pytest
import websockets

from daq.live.telling.hub import Page
from daq.live.web.access import Role
from daq.live.web.api_stream import _until_ended
from daq.live.web.keys_file import end_all, keys_at, passes_beside
from daq.live.web.passes import MOST, AllEnded, Passes
from tests.live.network import on_a_network

SCREENS = "/api/v1/access/screens"
SINCE = "2026-03-01T09:00:00+00:00"


@pytest.fixture
def passes(tmp_path):
    kept = Passes(tmp_path / "passes")
    kept.open()
    return kept


async def let_in(browser, key):
    assert (await browser.post("/api/v1/access", json={"token": key})).status_code == 200


async def ended(socket):
    """Returns when this stream is shut; TimeoutError if it is not, on the slowest machine."""
    async with asyncio.timeout(30):
        with contextlib.suppress(websockets.ConnectionClosed):
            while True:
                await socket.recv()


def test_one_screens_pass_is_ended_at_once_and_no_other(tmp_path, passes):
    async def job(url, session, keys):
        async with httpx.AsyncClient(base_url=url) as fitter, httpx.AsyncClient(base_url=url) as rider:
            await let_in(fitter, keys.run)
            await let_in(rider, keys.ride)
            cookie = {"Cookie": "; ".join(f"{name}={value}" for name, value in rider.cookies.items())}
            address = url.replace("http", "ws") + "api/v1/stream"
            async with websockets.connect(address, additional_headers=cookie) as socket:
                listed = (await fitter.get(SCREENS)).json()
                assert {(one["role"], one["this"]) for one in listed} == {("run", True), ("ride", False)}
                number = next(one["number"] for one in listed if not one["this"])
                assert (await rider.delete(f"{SCREENS}/{number}")).status_code == 403

                assert (await fitter.delete(f"{SCREENS}/{number}")).status_code == 204

                stopped = await rider.post("/api/v1/sweep/events", json={"event": "stop"})
                assert stopped.status_code == 401
                await ended(socket)
            with pytest.raises(websockets.InvalidStatus):
                await websockets.connect(address, additional_headers=cookie)
            assert (await fitter.get("/api/v1/sweep")).status_code == 200
            assert (await fitter.delete(f"{SCREENS}/{number}")).status_code == 404

    on_a_network(tmp_path, job, passes=passes)


def test_all_others_are_ended_at_once_and_a_screen_that_leaves_leaves_for_good(tmp_path, passes):
    async def job(url, session, keys):
        async with httpx.AsyncClient(base_url=url) as fitter, httpx.AsyncClient(base_url=url) as other:
            await let_in(fitter, keys.run)
            await let_in(other, keys.run)
            assert (await fitter.delete(SCREENS)).status_code == 204
            assert (await other.get("/api/v1/sweep")).status_code == 401
            assert len((await fitter.get(SCREENS)).json()) == 1
            kept = dict(fitter.cookies)
            await fitter.delete("/api/v1/access")
            async with httpx.AsyncClient(base_url=url, cookies=kept) as thief:
                assert (await thief.get("/api/v1/sweep")).status_code == 401

    on_a_network(tmp_path, job, passes=passes)


def test_when_all_are_ended_from_outside_nobody_is_in_and_no_key_lets_anybody_in(tmp_path, passes):
    async def job(url, session, keys):
        async with httpx.AsyncClient(base_url=url) as fitter:
            await let_in(fitter, keys.run)
            Passes(tmp_path / "passes").end_all()  # as foreaft access --end does, in a process of its own
            assert (await fitter.get("/api/v1/sweep")).status_code == 401
            again = await fitter.post("/api/v1/access", json={"token": keys.run})
            assert again.status_code == 401
            assert "start the daemon again" in again.json()["detail"]

    on_a_network(tmp_path, job, passes=passes)


def test_passes_are_their_owners_alone_outlive_the_daemon_and_end_with_new_keys(tmp_path):
    path = tmp_path / "state" / "keys.json"
    keys_at(path, hours=2.0)
    number = passes_beside(path).give(Role.RUN, since_utc=SINCE, address="192.0.2.7")

    file = path.with_name("passes") / number
    assert (stat.S_IMODE(file.stat().st_mode), stat.S_IMODE(file.parent.stat().st_mode)) == (0o600, 0o700)
    assert passes_beside(path).holds(number)
    path.unlink()
    keys_at(path, hours=2.0)
    assert passes_beside(path).given() == []
    end_all(path)
    assert not passes_beside(path).holds(number)
    with pytest.raises(AllEnded):
        passes_beside(path).give(Role.RUN, since_utc=SINCE, address="192.0.2.7")
    keys_at(path, hours=2.0)
    assert not passes_beside(path).holds(number)
    assert passes_beside(path).holds(passes_beside(path).give(Role.RUN, since_utc=SINCE, address="192.0.2.7"))


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b'{"number": "x"}', b"[" * 4000, b"0" * 5000, b"\xff"])
def test_a_file_that_is_no_pass_keeps_nobody_out(passes, tmp_path, content):
    number = passes.give(Role.RUN, since_utc=SINCE, address="192.0.2.7")
    (tmp_path / "passes" / "a").write_bytes(content)
    (tmp_path / "passes" / "b").mkdir()

    assert [one.number for one in passes.given()] == [number]
    assert passes.holds(passes.give(Role.RIDE, since_utc=SINCE, address="192.0.2.8"))


def test_there_are_only_so_many_and_a_full_disk_keeps_no_fitter_out(passes, tmp_path, monkeypatch):
    first = passes.give(Role.RIDE, since_utc="2026-03-01T08:00:00+00:00", address="192.0.2.7")
    for _ in range(MOST):
        last = passes.give(Role.RIDE, since_utc=SINCE, address="192.0.2.7")
    assert not passes.holds(first)
    assert passes.holds(last)
    assert len(passes.given()) == MOST

    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(json, "dump", full)
    unkept = passes.give(Role.RUN, since_utc="2026-03-01T10:00:00+00:00", address="192.0.2.8")
    assert passes.holds(unkept)
    assert passes.end(unkept)
    assert not passes.holds(unkept)

    unkept = passes.give(Role.RUN, since_utc=SINCE, address="192.0.2.8")
    assert passes.holds(unkept)
    Passes(tmp_path / "passes").end_all()  # by a process that knows nothing of it
    assert not passes.holds(unkept)


def test_a_screen_whose_pass_was_ended_gets_nothing_that_is_queued():
    page = Page()
    page.put("the load of now")

    async def told():
        await _until_ended(lambda: False, page)
        return await page.get()

    assert asyncio.run(told()) is None


def test_behind_a_proxy_that_encrypts_the_pass_is_for_encrypted_connections_alone(tmp_path):
    async def job(url, session, keys):
        for scheme, secure in (("http", False), ("https", True)):
            async with httpx.AsyncClient(base_url=url, headers={"X-Forwarded-Proto": scheme}) as browser:
                answer = await browser.post("/api/v1/access", json={"token": keys.run})
                assert ("Secure" in answer.headers["set-cookie"]) is secure

    on_a_network(tmp_path, job, proxies=("127.0.0.1",))


@pytest.mark.parametrize(
    ("proxies", "codes"),
    [((), [401] * 5 + [429] * 2), (("192.0.2.9",), [401] * 5 + [429] * 2), (("127.0.0.1",), [401] * 7)],
)
def test_x_forwarded_for_is_believed_from_a_named_proxy_alone(tmp_path, monkeypatch, proxies, codes):
    monkeypatch.setenv("FORWARDED_ALLOW_IPS", "*")  # uvicorn would believe everybody

    async def job(url, session, keys):
        async with httpx.AsyncClient(base_url=url) as browser:
            for number, code in enumerate(codes):
                headers = {"X-Forwarded-For": f"192.0.2.{number}"}
                answer = await browser.post("/api/v1/access", json={"token": "no"}, headers=headers)
                assert answer.status_code == code

    on_a_network(tmp_path, job, proxies=proxies)
