"""The daemon on a network, over real sockets: keys, passes, the rider's screen, and what it is never sent."""

import asyncio
import contextlib
import json
import logging
import stat
import time

import h11
import httpx
import pytest
import websockets

from daq.live.telling.blind import for_rider
from daq.live.web import access, connections, keys_file
from daq.live.web.access import COOKIE, Role
from daq.live.web.keys_file import keys_at, read_keys
from daq.live.web.steady import steady_s
from tests.live.examples import EXAMPLES
from tests.live.jig import SHORT
from tests.live.network import on_a_network

KEPT_FROM_RIDERS = ("setback", "hands", "saddle", "load", "feet", "tilt", "planned", "mass", "R-0001", "onset_mm", "mm")


def test_a_key_is_exchanged_for_a_pass_that_no_script_and_no_foreign_page_can_use(tmp_path):
    async def job(url, session, keys):
        async with httpx.AsyncClient(base_url=url) as browser:
            assert (await browser.get("/api/v1/sweep")).status_code == 401
            assert (await browser.get("/api/v1/access")).json()["role"] is None

            answer = await browser.post("/api/v1/access", json={"token": keys.run})

            assert answer.json()["role"] == "run"
            # RFC 6265bis: HttpOnly keeps it from scripts, SameSite=Strict from requests that other sites start
            words = {word.strip().lower() for word in answer.headers["set-cookie"].split(";")[1:]}
            assert {"httponly", "samesite=strict", "path=/"} <= words
            assert keys.run not in answer.headers["set-cookie"]
            assert (await browser.get("/api/v1/sweep")).status_code == 200
            await browser.delete("/api/v1/access")
            assert (await browser.get("/api/v1/sweep")).status_code == 401

    on_a_network(tmp_path, job)


def test_no_cookie_holds_the_daemon_up(tmp_path):
    async def job(url, session, keys):
        async with httpx.AsyncClient(base_url=url) as browser:
            begun_s = time.process_time()
            for cookie in ('foreaft="' + 7000 * "\\" + '"', 7000 * ";", 1750 * "a=b;"):
                assert (await browser.get("/health/live", headers={"Cookie": cookie})).status_code == 200
                assert (await browser.get("/health/live", headers={"Cookie": 9 * cookie})).status_code == 400
            assert time.process_time() - begun_s < 10.0  # of the processor; http.cookies of Python 3.11.7 took 46 s

    on_a_network(tmp_path, job)


def test_wrong_keys_are_held_back_after_a_few(tmp_path):
    async def job(url, session, keys):
        async with httpx.AsyncClient(base_url=url) as browser:
            codes = [(await browser.post("/api/v1/access", json={"token": f"no{i}"})).status_code for i in range(7)]
            late = await browser.post("/api/v1/access", json={"token": keys.run})

        assert codes == [401] * 5 + [429] * 2
        assert late.status_code == 429
        assert int(late.headers["retry-after"]) > 0

    on_a_network(tmp_path, job)


def test_the_riders_screen_stops_the_sweep_and_does_nothing_else(tmp_path):
    async def job(url, session, keys):
        async with httpx.AsyncClient(base_url=url) as screen:
            await screen.post("/api/v1/access", json={"token": keys.ride})
            await session.sweep.begin(SHORT)

            begun = await screen.post("/api/v1/sweep/events", json={"event": "begin"})
            stopped = await screen.post("/api/v1/sweep/events", json={"event": "stop"})

        assert begun.status_code == 403
        assert stopped.status_code == 200
        assert stopped.json()["state"] == "stopped"
        assert "setback" not in stopped.text

    on_a_network(tmp_path, job)


def test_the_riders_stream_is_effort_without_loads_or_setback(tmp_path):
    async def job(url, session, keys):
        cookie = {"Cookie": f"{COOKIE}={access.sealed(keys, Role.RIDE)}"}
        address = url.replace("http", "ws") + "api/v1/stream"
        async with websockets.connect(address, additional_headers=cookie) as socket:
            await session.sweep.begin(SHORT)
            seen = {}
            while not {"snapshot", "sources", "stroke", "sweep"} <= set(seen):
                message = await socket.recv()
                assert isinstance(message, str)
                seen[json.loads(message)["type"]] = message

        assert json.loads(seen["stroke"])["cadence_rpm"] > 0
        for message in seen.values():
            assert not [
                word for word in ("setback", "hands_n", "saddle_n", "hand_load", "pseudonym") if word in message
            ]

    on_a_network(tmp_path, job)


HEAD = b"POST /api/v1/access HTTP/1.1\r\nHost: 127.0.0.1\r\n"


@pytest.mark.parametrize(
    "said",
    [
        HEAD + 30_000 * b"a:\r\n" + b"\r\n",
        HEAD + b"a: " + 9000 * b"b" + b"\r\n",
        HEAD + b"Transfer-Encoding: chunked\r\n\r\n" + 30_000 * b"1\r\nx\r\n",
    ],
    ids=["a head of many lines", "a head longer than a browser's", "a body in small pieces"],
)
def test_what_is_long_to_read_is_refused_before_it_is_read(tmp_path, monkeypatch, said):
    events = []
    next_event = h11.Connection.next_event
    monkeypatch.setattr(h11.Connection, "next_event", lambda self: events.append(self) or next_event(self))

    async def job(url, session, keys):
        where = httpx.URL(url)
        reader, writer = await asyncio.open_connection(where.host, where.port)
        writer.write(said)
        assert (await asyncio.wait_for(reader.readline(), 30)).startswith(b"HTTP/1.1 400")
        with contextlib.suppress(ConnectionError):
            await asyncio.wait_for(reader.read(), 30)
        writer.close()
        assert len(events) < 10

    on_a_network(tmp_path, job)


def test_who_sends_frames_before_the_answer_is_heard_after_it(tmp_path):
    """A ping before the stream is there is passed over; one after it is answered (RFC 6455, 5.5.2)."""
    ping = b"\x89\xfd" + bytes(4 + 125)
    asks = (
        b"GET /api/v1/stream HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n"
        b"Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\n"
    )

    async def job(url, session, keys):
        where = httpx.URL(url)
        reader, writer = await asyncio.open_connection(where.host, where.port)
        cookie = f"Cookie: {COOKIE}={access.sealed(keys, Role.RUN)}\r\n\r\n".encode()
        writer.write(asks + cookie + 60 * ping)
        await asyncio.wait_for(reader.readuntil(b"\r\n\r\n"), 30)
        writer.write(ping)
        await asyncio.wait_for(reader.readuntil(b"\x8a\x7d" + bytes(125)), 30)
        writer.close()

    on_a_network(tmp_path, job)


def test_a_proxy_that_sends_a_body_in_chunks_is_told_what_to_do(tmp_path):
    async def job(url, session, keys):
        where = httpx.URL(url)
        reader, writer = await asyncio.open_connection(where.host, where.port)
        writer.write(HEAD + b"Transfer-Encoding: chunked\r\n\r\n")
        answer = await asyncio.wait_for(reader.read(), 30)
        writer.close()

        assert answer.startswith(b"HTTP/1.1 400")
        assert b"announce its length" in answer

    on_a_network(tmp_path, job)


def test_what_is_no_request_behind_an_answer_makes_nothing_fail(tmp_path, caplog):
    async def job(url, session, keys):
        where = httpx.URL(url)
        reader, writer = await asyncio.open_connection(where.host, where.port)
        writer.write(b"GET /health/live HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n")
        await asyncio.wait_for(reader.readuntil(b"\r\n\r\n"), 30)
        writer.write(b"\0\r\n\r\n")
        with contextlib.suppress(ConnectionError):
            await asyncio.wait_for(reader.read(), 30)
        writer.close()

    on_a_network(tmp_path, job)
    assert [record.getMessage() for record in caplog.records if record.levelno >= logging.ERROR] == []


async def ended(url, said, more=b""):
    """Returns when the daemon ends a connection on which this is said, and more of it again and again."""
    where = httpx.URL(url)
    reader, writer = await asyncio.open_connection(where.host, where.port)
    writer.write(said)
    while True:
        try:
            if not await asyncio.wait_for(reader.read(4096), 0.1):
                break
        except TimeoutError:
            writer.write(more)
        except ConnectionError:
            break
    writer.close()


@pytest.mark.parametrize(
    ("said", "more"),
    [
        (b"", b""),
        (b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX: ", b"a"),
        (b"GET /health/live HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 100000\r\n\r\n", b"a"),
    ],
    ids=["silence", "a head without an end", "a body behind an answer"],
)
def test_a_connection_that_asks_for_nothing_is_ended(tmp_path, monkeypatch, said, more):
    monkeypatch.setattr(connections, "ASKS_WITHIN_S", 0.5)

    async def job(url, session, keys):
        await ended(url, said, more)

    on_a_network(tmp_path, job)


def test_a_stream_outlives_the_time_to_ask_for_it(tmp_path, monkeypatch):
    monkeypatch.setattr(connections, "ASKS_WITHIN_S", 0.2)

    async def job(url, session, keys):
        cookie = {"Cookie": f"{COOKIE}={access.sealed(keys, Role.RUN)}"}
        async with websockets.connect(url.replace("http", "ws") + "api/v1/stream", additional_headers=cookie) as socket:
            begun_s = time.monotonic()
            while time.monotonic() < begun_s + 1.0:
                await socket.recv()

    on_a_network(tmp_path, job)


async def is_shut(reader):
    """Whether the daemon has ended this connection."""
    try:
        return await asyncio.wait_for(reader.read(1), 2) == b""
    except TimeoutError:
        return False
    except ConnectionError:
        return True


def test_who_comes_last_gets_in_and_who_has_shown_a_pass_stays(tmp_path, monkeypatch):
    monkeypatch.setattr(connections, "MOST_WITHOUT_PASS", 5)

    async def job(url, session, keys):
        where, cookie = httpx.URL(url), {COOKIE: access.sealed(keys, Role.RUN)}
        async with httpx.AsyncClient(base_url=url, cookies=cookie) as inside:
            first = (await inside.get("/api/v1/sweep")).extensions["network_stream"]
            # many in one tick of the loop's clock: it is their order that counts
            held = [await asyncio.open_connection(where.host, where.port) for _ in range(40)]
            held.append(await asyncio.open_connection(where.host, where.port))
            gone = await asyncio.gather(*(is_shut(reader) for reader, _ in held))
            assert gone == [True] * 36 + [False] * 5
            held[-1][1].write(b"GET /health/live HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
            assert (await asyncio.wait_for(held[-1][0].read(15), 60)).startswith(b"HTTP/1.1 200")
            again = (await inside.get("/api/v1/sweep")).extensions["network_stream"]
            assert again.get_extra_info("socket").getsockname() == first.get_extra_info("socket").getsockname()
            for _, one in held:
                one.close()

    on_a_network(tmp_path, job)


def test_a_clock_that_is_set_forward_ends_no_pass(tmp_path, monkeypatch):
    async def job(url, session, keys):
        cookie = {"Cookie": f"{COOKIE}={access.sealed(keys, Role.RUN)}"}
        now_s = time.time()
        monkeypatch.setattr(time, "time", lambda: now_s + 20 * 3600)
        async with httpx.AsyncClient(base_url=url, headers=cookie) as screen:
            assert (await screen.get("/api/v1/sweep")).status_code == 200
        address = url.replace("http", "ws") + "api/v1/stream"
        async with websockets.connect(address, additional_headers=cookie) as socket:
            assert json.loads(await asyncio.wait_for(socket.recv(), 60))["type"] == "snapshot"

    on_a_network(tmp_path, job)


def test_a_stop_of_what_has_stopped_is_answered_like_the_first_and_kept_once(tmp_path):
    async def job(url, session, keys):
        async with httpx.AsyncClient(base_url=url) as screen:
            await screen.post("/api/v1/access", json={"token": keys.ride})
            nothing = await screen.post("/api/v1/sweep/events", json={"event": "stop"})
            await session.sweep.begin(SHORT)
            # a stop has no setback, and one that no sweep has would make its export unreadable
            stop = {"event": "stop", "setback_mm": 1e300}
            answers = [await screen.post("/api/v1/sweep/events", json=stop) for _ in range(80)]

        assert nothing.status_code == 409
        assert {(answer.status_code, answer.json()["state"]) for answer in answers} == {(200, "stopped")}
        items = await session.acquisition.ask(lambda store: list(store.read_items(1)))
        kept = [item for item in items if getattr(item, "kind", "") == "fitter"]
        assert [item.content for item in kept] == [{"event": "stop", "setback_mm": None}]

    on_a_network(tmp_path, job)


async def listened(socket):
    """Listen until it is closed."""
    while True:
        await socket.recv()


def test_a_stream_ends_with_the_time_of_its_key(tmp_path):
    async def job(url, session, keys):
        cookie = {"Cookie": f"{COOKIE}={access.sealed(keys, Role.RUN)}"}
        address = url.replace("http", "ws") + "api/v1/stream"
        async with websockets.connect(address, additional_headers=cookie) as socket:
            with pytest.raises(websockets.ConnectionClosed):
                await asyncio.wait_for(listened(socket), 60)
        with pytest.raises(websockets.InvalidStatus) as refused:
            await websockets.connect(address, additional_headers=cookie)
        assert refused.value.response.status_code == 403

    on_a_network(tmp_path, job, hours=4 / 3600)


@pytest.mark.parametrize("example", EXAMPLES.values(), ids=EXAMPLES)
def test_no_message_tells_the_rider_what_the_fitter_sees(example):
    said = for_rider(json.dumps(example))

    kept = "" if said is None else said.replace('"cells":[]', "").replace('"onset":null', "")
    assert not [word for word in KEPT_FROM_RIDERS if word in kept]


def test_loads_are_not_sent_to_the_rider():
    assert for_rider(b"\1\2") is None


def test_a_kind_of_message_nobody_has_thought_of_yet_is_not_sent_to_the_rider():
    assert for_rider('{"type": "new", "setback_mm": 52}') is None


def test_keys_are_kept_for_their_owner_alone_and_found_again_until_their_time_is_over(tmp_path, monkeypatch):
    path = tmp_path / "state" / "keys.json"
    now_s = steady_s()

    made = keys_at(path, hours=2.0)

    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert keys_at(path, hours=2.0) == made
    monkeypatch.setattr(keys_file, "steady_s", lambda: now_s + 7210)
    assert read_keys(path) is None
    assert keys_at(path, hours=2.0).run != made.run


def test_keys_are_found_again_after_the_clock_was_set(tmp_path, monkeypatch):
    made, now_s = keys_at(tmp_path / "keys.json", hours=14.0), time.time()

    monkeypatch.setattr(time, "time", lambda: now_s + 20 * 3600)

    assert read_keys(tmp_path / "keys.json") == made


def test_after_a_new_start_of_the_machine_the_time_of_day_says_how_long_keys_are_good(tmp_path, monkeypatch):
    made, now_s = keys_at(tmp_path / "keys.json", hours=14.0), time.time()

    monkeypatch.setattr(keys_file, "this_start", lambda: "another")
    monkeypatch.setattr(keys_file, "steady_s", lambda: 60.0)
    monkeypatch.setattr(time, "time", lambda: now_s + 3600)

    found = read_keys(tmp_path / "keys.json")
    assert (found.run, found.ends_s) == (made.run, pytest.approx(60.0 + 13 * 3600, abs=5))
    monkeypatch.setattr(time, "time", lambda: now_s + 15 * 3600)
    assert read_keys(tmp_path / "keys.json") is None


@pytest.mark.parametrize("content", ["", "{}", "[]", '{"run": 1}', '{"start": "x", "expires_s": 9e9}', "null"])
def test_a_keys_file_that_holds_no_keys_lets_nobody_in(tmp_path, content):
    path = tmp_path / "keys.json"
    path.write_text(content)

    assert read_keys(path) is None
