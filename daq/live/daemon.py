"""The daemon around a session: its sources, its store, its address, and an orderly shutdown."""

from __future__ import annotations

import asyncio
import contextlib
import gc
import signal
import socket
import sys
from collections.abc import Callable, Collection, Coroutine, Iterator, Sequence
from functools import partial
from typing import Any

import uvicorn

from daq.live.session.listening import kept_going
from daq.live.session.session import Session
from daq.live.telling.teller import Teller
from daq.live.web import streams
from daq.live.web.access import Keys
from daq.live.web.api import make_app
from daq.live.web.connections import Connection
from daq.live.web.gate import Gate
from daq.live.web.passes import Passes
from daq.live.web.streams import BoundedStream
from daq.sources.loop import on_signals

GRACE_S = 2
"""Time for open requests when the daemon ends; then their connections are cut."""
WORD_AT_MOST = 1024
"""The most bytes a page may send on its stream, on which it has nothing to say."""


class AddressTaken(Exception):
    """Another program is listening at the address."""


def listen(host: str, port: int) -> socket.socket:
    """A listening socket; port 0 takes a free one. Raises AddressTaken with what to do."""
    listener = socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET)
    if sys.platform != "win32":  # there, the option would let two programs listen at one address
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
        listener.listen()
    except OSError as error:
        listener.close()
        raise AddressTaken(f"cannot listen at {host}:{port} ({error.strerror}): choose another with --port") from error
    return listener


def url_of(listener: socket.socket) -> str:
    """The address of the page, to open in a browser."""
    host, port = listener.getsockname()[:2]
    return f"http://[{host}]:{port}/" if ":" in host else f"http://{host}:{port}/"


def own_names() -> frozenset[str]:
    """The names of this machine on its network."""
    name = socket.gethostname().lower().partition(".")[0]
    return frozenset({"localhost", name, f"{name}.local"})


def own_address() -> str:
    """This machine's address on its network, 127.0.0.1 without one. Nothing is sent; 192.0.2.1 is RFC 5737's."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked, contextlib.suppress(OSError):
        asked.connect(("192.0.2.1", 9))
        return str(asked.getsockname()[0])
    return "127.0.0.1"


class _Server(uvicorn.Server):
    """Leaves signals to us: the store has to be closed after the pages, in one orderly shutdown."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


async def serve(
    session: Session,
    links: Sequence[Callable[[], Coroutine[Any, Any, None]]],
    *,
    listener: socket.socket | None = None,
    until: Coroutine[Any, Any, None] | None = None,
    keys: Keys | None = None,
    names: Collection[str] = (),
    passes: Passes | None = None,
    proxies: Collection[str] = (),
) -> signal.Signals | None:
    """Run sources, session, store and server until `until` is done or a signal arrives, then shut down in order. keys:
    who may use it over a network; None if the listener is for this machine only. names: other names it has there.
    passes: issued for the keys; None: not kept. proxies: addresses or networks of proxies that are believed.
    Returns the signal, None without one. A link that fails, or what drains and stores, is begun again and told of; an
    error of `until` or the server ends the daemon and is raised.
    """
    asked: asyncio.Future[signal.Signals] = asyncio.get_running_loop().create_future()
    on_signals((signal.SIGINT, signal.SIGTERM), partial(_ask, asked))
    at = session.acquisition
    parts = [*(("a sensor's link", link) for link in links), ("the computation", session.run)]
    parts += [] if at.storing is None else [("the recording", at.storing.run)]
    tasks: list[asyncio.Future[Any]] = [asyncio.create_task(kept_going(*part, at.notice)) for part in parts]
    if until is not None:
        tasks.append(asyncio.create_task(until))
    teller, server, serving = Teller(session), None, []
    if listener is not None:
        server = _Server(_config(teller, keys, names, passes, proxies))
        serving = [asyncio.create_task(server.serve(sockets=[listener]))]
        tasks += serving
    gc.freeze()  # a full collection blocks the loop, and so every screen, for 0.1 s
    try:
        await asyncio.wait([asked, *tasks], return_when=asyncio.FIRST_COMPLETED)
        for task in tasks:
            if task.done():
                task.result()
        return asked.result() if asked.done() else None
    finally:
        gc.unfreeze()
        await _end(teller, tasks, server, serving)


def _ask(asked: asyncio.Future[signal.Signals], number: signal.Signals) -> None:
    if not asked.done():
        asked.set_result(number)


def _config(
    teller: Teller, keys: Keys | None, names: Collection[str], passes: Passes | None, proxies: Collection[str]
) -> uvicorn.Config:
    names = own_names() | {name.lower() for name in names}
    return uvicorn.Config(
        Gate(make_app(teller, keys, passes), keys=keys, names=names, passes=passes),
        # who speaks for others; without a list, an empty one too, uvicorn believes this machine and its environment
        forwarded_allow_ips=list(proxies),
        log_config=None,
        access_log=False,
        server_header=False,
        http=Connection,
        ws=BoundedStream,
        ws_ping_interval=streams.PING_EVERY_S,
        ws_ping_timeout=streams.PONG_WITHIN_S,
        ws_max_size=WORD_AT_MOST,
        ws_per_message_deflate=False,
        timeout_graceful_shutdown=GRACE_S + 1,  # tasks that are still there then are cancelled, and logged as a fault
        lifespan="off",
    )


async def _end(
    teller: Teller,
    tasks: Sequence[asyncio.Future[Any]],
    server: _Server | None,
    serving: Sequence[asyncio.Future[Any]],
) -> None:
    teller.close()
    if server is not None:
        server.should_exit = True  # uvicorn looks ten times a second
        await asyncio.wait(serving, timeout=GRACE_S)
        for connection in list(server.server_state.connections):
            connection.transport.abort()
        await asyncio.wait(serving, timeout=2)
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)
    at = teller.session.acquisition
    try:
        at.drain()
    finally:
        if at.storing is not None:
            await at.storing.close(at.clock.stamp_us())
