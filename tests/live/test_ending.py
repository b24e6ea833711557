"""The daemon ends while somebody still asks for something."""

import gc
import logging
import socket

import httpx

from daq.live import daemon
from daq.live.web import access
from daq.live.web.access import COOKIE, Role
from tests.live.network import on_a_network


def half_a_stop(keys):
    """A command of which the rest never comes."""
    return (
        f"POST /api/v1/sweep/events HTTP/1.1\r\nHost: 127.0.0.1\r\nCookie: {COOKIE}={access.sealed(keys, Role.RUN)}\r\n"
        'Content-Type: application/json\r\nContent-Length: 100\r\n\r\n{"event":'
    ).encode()


def test_a_request_that_is_open_when_the_daemon_ends_is_cut_and_is_no_fault(tmp_path, monkeypatch, caplog):
    monkeypatch.setattr(daemon, "GRACE_S", 0.3)
    with socket.socket() as sock:

        async def job(url, session, keys):
            where = httpx.URL(url)
            sock.connect((where.host, where.port))
            sock.send(half_a_stop(keys))
            async with httpx.AsyncClient(base_url=url) as other:  # answered after the half of the command was read
                assert (await other.get("/health/live")).status_code == 200

        on_a_network(tmp_path, job)
    assert [record.getMessage() for record in caplog.records if record.levelno >= logging.ERROR] == []


def test_while_the_daemon_runs_the_collector_leaves_what_was_loaded_before_alone(tmp_path):
    """It takes a tenth of a second to go through, in which no screen is told anything (gc.freeze, Python's manual)."""
    left_alone = []

    async def job(url, session, keys):
        left_alone.append(gc.get_freeze_count())

    on_a_network(tmp_path, job)

    assert left_alone[0] > 10_000
    assert gc.get_freeze_count() == 0
