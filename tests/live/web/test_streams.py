"""Streams whose other end does not read or does not stop talking, over real sockets."""

import asyncio
import base64
import contextlib
import gc
import logging
import os
import socket

import httpx
import pytest
import websockets

from daq.live.telling.hub import Page
from daq.live.web import access, api_stream, streams
from daq.live.web.access import COOKIE, Role
from tests.live.network import on_a_network
from tests.sources.waiting import until

PING = b"\x89\xfd" + bytes(4 + 125)
"""A ping of 125 bytes, masked with zeros (RFC 6455, 5.2 and 5.5.2)."""
PONG, WORD = b"\x8a" + PING[1:], b"\x81" + PING[1:]
PIECES = (b"\x01\x80" + bytes(4), b"\x00\x80" + bytes(4))
"""The beginning of a text, and an empty piece more of it (RFC 6455, 5.4)."""


def handshake(keys):
    """What a browser with the fitter's pass says to open a stream."""
    return (
        f"GET /api/v1/stream HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n"
        f"Cookie: {COOKIE}={access.sealed(keys, Role.RUN)}\r\nSec-WebSocket-Version: 13\r\n"
        f"Sec-WebSocket-Key: {base64.b64encode(os.urandom(16)).decode()}\r\n\r\n"
    ).encode()


async def shaken_hands(url, keys):
    """The writing end of a stream opened by hand, of which nothing more will be read."""
    where, sock = httpx.URL(url), socket.socket()
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
    sock.setblocking(False)
    await asyncio.get_running_loop().sock_connect(sock, (where.host, where.port))
    reader, writer = await asyncio.open_connection(sock=sock, limit=256)
    writer.write(handshake(keys))
    assert (await reader.readline()).startswith(b"HTTP/1.1 101")
    return writer


async def pages(browser):
    """How many streams there are."""
    text = (await browser.get("/metrics")).text
    return int(float(next(line for line in text.splitlines() if line.startswith("foreaft_pages ")).split()[1]))


def listening(url, keys, number="0"):
    """A stream that is read, with the pass of this number."""
    cookie = {"Cookie": f"{COOKIE}={access.sealed(keys, Role.RUN, number)}"}
    return websockets.connect(url.replace("http", "ws") + "api/v1/stream", additional_headers=cookie)


async def heard(stream):
    """Listens until it is closed."""
    with contextlib.suppress(websockets.ConnectionClosed):
        while True:
            await stream.recv()


async def talking_on(writer, first, again):
    """Sends as fast as the way takes it, until it is shut."""
    with contextlib.suppress(ConnectionError):
        writer.write(first)
        while True:
            writer.write(again * 10)
            await writer.drain()
            await asyncio.sleep(0.01)


BOUNDS = {
    "seconds": ({"UNREAD_S": 0.5, "KERNEL_BYTES": 2048}, None, "it does not read"),
    "pongs": ({"PONG_WITHIN_S": 0.5, "PING_EVERY_S": 0.3}, None, "it does not answer"),
    "bytes": ({"WORDS_PER_S": 10**9, "UNREAD_S": 1e9, "KERNEL_BYTES": 2048}, (b"", PING), "it does not read"),
    "pings": ({}, (b"", PING), "it talks without end"),
    "pongs unasked": ({}, (b"", PONG), "it talks without end"),
    "words": ({}, (b"", WORD), "it talks without end"),
    "pieces": ({}, PIECES, "it talks without end"),
}


@pytest.mark.parametrize("bound", BOUNDS)
def test_a_stream_that_never_reads_is_cut_off_and_told_and_the_others_go_on(tmp_path, monkeypatch, caplog, bound):
    settings, said, why = BOUNDS[bound]
    for name, value in settings.items():
        monkeypatch.setattr(streams, name, value)

    async def job(url, session, keys):
        cookie = {COOKIE: access.sealed(keys, Role.RUN)}
        async with httpx.AsyncClient(base_url=url, cookies=cookie) as browser, listening(url, keys) as good:
            hearing = asyncio.create_task(heard(good))
            writer = await shaken_hands(url, keys)
            assert await pages(browser) == 2
            talking = asyncio.create_task(talking_on(writer, *said) if said else asyncio.sleep(0))
            while await pages(browser) > 1:
                await asyncio.sleep(0.1)
            await talking
            writer.close()
            assert not hearing.done()
            await good.close()
            await hearing

    on_a_network(tmp_path, job)
    assert [record.why for record in caplog.records if record.message == "stream cut off"] == [why]


def test_more_streams_than_there_may_be_are_refused_and_a_riders_leave_room_for_the_fitters(tmp_path, monkeypatch):
    monkeypatch.setattr(api_stream, "STREAMS_OF", {Role.RUN: 1, Role.RIDE: 2})

    async def job(url, session, keys):
        address = url.replace("http", "ws") + "api/v1/stream"

        def opened(role):
            cookie = {"Cookie": f"{COOKIE}={access.sealed(keys, role)}"}
            return websockets.connect(address, additional_headers=cookie)

        async with opened(Role.RIDE), opened(Role.RIDE):
            with pytest.raises(websockets.InvalidStatus) as refused:
                await opened(Role.RIDE)
            async with opened(Role.RUN) as fitters:
                assert '"snapshot"' in await fitters.recv()
        assert refused.value.response.status_code == 503
        async with opened(Role.RIDE) as again:
            await again.recv()

    on_a_network(tmp_path, job)


def wrong(caplog):
    """What was logged as an error."""
    return [record.getMessage() for record in caplog.records if record.levelno >= logging.ERROR]


@pytest.fixture
def opened_slowly(monkeypatch):
    """0.3 s pass between a stream's asking and its being open."""
    accept = api_stream.WebSocket.accept

    async def slowly(self, *words, **named):
        await asyncio.sleep(0.3)
        await accept(self, *words, **named)

    monkeypatch.setattr(api_stream.WebSocket, "accept", slowly)


def test_who_talks_before_the_stream_is_open_is_cut_off_and_nothing_fails(tmp_path, opened_slowly, caplog):
    async def job(url, session, keys):
        where = httpx.URL(url)
        reader, writer = await asyncio.open_connection(where.host, where.port)
        writer.write(handshake(keys))
        await asyncio.sleep(0.1)
        writer.write(b"\xff" * 20)
        with contextlib.suppress(ConnectionError):
            assert await asyncio.wait_for(reader.read(), 60) == b""
        await asyncio.sleep(0.5)
        writer.close()

    on_a_network(tmp_path, job)
    assert "it does not speak the protocol" in [getattr(record, "why", "") for record in caplog.records]
    assert wrong(caplog) == []


def test_a_message_of_more_than_a_kilobyte_is_not_taken(tmp_path):
    async def job(url, session, keys):
        async with listening(url, keys) as stream:
            await stream.send("x" * 2000)
            await asyncio.wait_for(heard(stream), 60)
            assert stream.close_code == 1009  # RFC 6455, 7.4.1: too big

    on_a_network(tmp_path, job)


@pytest.mark.parametrize("places", [64, 0], ids=["let in", "refused"])
def test_who_leaves_at_the_very_moment_it_is_answered_makes_nothing_fail(tmp_path, monkeypatch, caplog, places):
    monkeypatch.setattr(api_stream, "STREAMS_OF", {Role.RUN: places})
    send = streams.BoundedStream.send

    async def left(self, message):
        self.transport.abort()
        await send(self, message)

    monkeypatch.setattr(streams.BoundedStream, "send", left)

    async def job(url, session, keys):
        with pytest.raises(websockets.InvalidMessage):
            await listening(url, keys)
        await asyncio.sleep(0.1)

    on_a_network(tmp_path, job)
    assert wrong(caplog) == []


def nobody_looks_after_a_stream():
    gc.collect()
    return not [one for one in gc.get_objects() if isinstance(one, streams.BoundedStream)]


def test_who_has_left_before_the_stream_is_open_makes_nothing_fail(tmp_path, opened_slowly, monkeypatch, caplog):
    monkeypatch.setattr(streams, "LOOK_S", 0.05)

    async def job(url, session, keys):
        where = httpx.URL(url)
        _, writer = await asyncio.open_connection(where.host, where.port)
        writer.write(handshake(keys))
        await asyncio.sleep(0.1)
        writer.transport.abort()
        await until(nobody_looks_after_a_stream)

    on_a_network(tmp_path, job)
    assert wrong(caplog) == []


def test_a_screen_that_comes_again_and_again_has_to_wait_and_its_refusal_is_no_fault(tmp_path, monkeypatch, caplog):
    monkeypatch.setattr(api_stream, "OPENED_PER_S", 0.01)
    monkeypatch.setattr(api_stream, "OPENED_AT_ONCE", 2.0)

    async def job(url, session, keys):
        for _ in range(2):
            async with listening(url, keys) as stream:
                await stream.recv()
        with pytest.raises(websockets.InvalidStatus) as refused:
            await listening(url, keys)
        assert refused.value.response.status_code == 429
        async with listening(url, keys, "1") as another:
            await another.recv()

    on_a_network(tmp_path, job)
    assert wrong(caplog) == []


@pytest.mark.parametrize("more", ["X: " + 9000 * "a", "\r\n".join(300 * ["X: a"]), "Content-Length: 5"])
def test_a_stream_that_never_opens_is_not_held(tmp_path, caplog, more):
    """A head that HTTP allows and the protocol of streams does not: a line, or more lines, than it takes, or a body."""

    async def job(url, session, keys):
        where = httpx.URL(url)
        reader, writer = await asyncio.open_connection(where.host, where.port)
        writer.write(handshake(keys).replace(b"\r\n\r\n", f"\r\n{more}\r\n\r\n".encode()))
        with contextlib.suppress(ConnectionError):
            assert await asyncio.wait_for(reader.read(), 30) == b""
        writer.close()

    on_a_network(tmp_path, job)
    assert wrong(caplog) == []


@pytest.mark.parametrize(("count", "size"), [(501, 1), (11, 100_000)], ids=["messages", "bytes"])
def test_a_page_that_lags_is_let_go_at_once_and_not_after_all_it_has_missed(count, size):
    page = Page()
    for _ in range(count - 1):
        page.put(b"x" * size)
    assert not page.too_slow
    for _ in range(count - 5):
        page.put(b"x" * size)

    assert page.too_slow
    assert asyncio.run(asyncio.wait_for(page.get(), 1)) is None
    assert page.waiting.empty()
