"""The words of sd_notify(3), over a real datagram socket."""

import asyncio
import socket

import pytest
import uvloop

from daq.live.systemd import report_to_manager
from tests.sources.waiting import running, until


def heard_by(address, environment, *, count=4):
    """The datagrams a manager listening at this address gets."""
    heard = []

    async def listen():
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
            manager.bind(address)
            manager.setblocking(False)
            loop = asyncio.get_running_loop()
            loop.add_reader(manager, lambda: heard.append(manager.recv(4096).decode()))
            async with running(report_to_manager(environment, lambda: "board: gone")):
                await until(lambda: len(heard) >= count)
            await until(lambda: heard[-1] == "STOPPING=1")
            loop.remove_reader(manager)

    uvloop.run(listen())
    return heard


@pytest.mark.parametrize("kind", ["path", "abstract"])
def test_it_says_ready_then_that_it_lives_and_how_then_that_it_stops(tmp_path, kind):
    address = str(tmp_path / "notify") if kind == "path" else f"\0foreaft-{tmp_path}"
    named = address.replace("\0", "@")

    heard = heard_by(address, {"NOTIFY_SOCKET": named, "WATCHDOG_USEC": "60000"})

    assert heard[0] == "READY=1"
    assert set(heard[1:-1]) == {"WATCHDOG=1\nSTATUS=board: gone"}
    assert heard[-1] == "STOPPING=1"


def test_a_manager_that_has_gone_does_not_end_the_daemon(tmp_path):
    async def report():
        environment = {"NOTIFY_SOCKET": str(tmp_path / "nobody"), "WATCHDOG_USEC": "30000"}
        async with running(report_to_manager(environment, str)):
            await asyncio.sleep(0.1)

    uvloop.run(report())


def test_without_a_manager_it_waits():
    async def report():
        async with running(report_to_manager({}, str)):
            await asyncio.sleep(0.05)

    uvloop.run(report())
