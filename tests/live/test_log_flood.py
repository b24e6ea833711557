"""A flood does not fill the log, and hides no other line."""

import asyncio
import io
import json
import logging

import pytest

from daq.live.log_flood import COMMANDS_PER_MINUTE, PER_MINUTE, BoundedHandler
from daq.live.logs import _Formatter, set_up
from tests.live.network import on_a_network

MINUTE_NS = 60 * 10**9


class Log:
    """A handler of the daemon's with a clock that is set by hand."""

    def __init__(self):
        self.now_ns, self._stream = 10**15, io.StringIO()
        self.handler = BoundedHandler(self._stream, lambda: self.now_ns)
        self.handler.setFormatter(_Formatter("json"))

    def say(self, message, line=1, level=logging.WARNING, **extra):
        record = logging.LogRecord("uvicorn.error", level, "there.py", line, message, (), None)
        vars(record).update(extra)
        self.handler.emit(record)

    def lines(self):
        return [json.loads(line) for line in self._stream.getvalue().splitlines()]


def test_a_flood_is_cut_off_within_a_minute_and_counted_when_it_is_over():
    log = Log()
    for number in range(10_000):
        log.say(f"invalid {number}")
    assert [line["message"] for line in log.lines()] == [f"invalid {number}" for number in range(PER_MINUTE)]
    assert "counted" in log.lines()[-1]["left_out"]

    log.now_ns += MINUTE_NS
    log.say("something else", line=2)
    told, other = log.lines()[PER_MINUTE:]
    assert (told["message"], told["left_out"]) == ("invalid 9999", 10_000 - PER_MINUTE - 1)
    assert other["message"] == "something else"

    log.now_ns += MINUTE_NS
    log.say("invalid again")
    assert [line["message"] for line in log.lines()[PER_MINUTE + 2 :]] == ["invalid again"]


def test_what_was_left_out_last_is_told_at_the_end():
    log = Log()
    for number in range(100):
        log.say(f"invalid {number}")
    log.handler.close()

    assert (log.lines()[-1]["message"], log.lines()[-1]["left_out"]) == ("invalid 99", 100 - PER_MINUTE - 1)


def test_a_fault_is_not_lost_among_refusals_from_the_same_place():
    log = Log()
    for _ in range(1000):
        log.say("request", status=401)
    log.say("request", status=500)

    assert log.lines()[-1]["status"] == 500


@pytest.mark.parametrize(("level", "most"), [(logging.INFO, COMMANDS_PER_MINUTE), (logging.ERROR, PER_MINUTE)])
def test_commands_have_more_room_than_problems(level, most):
    log = Log()
    for _ in range(2 * most):
        log.say("request", level=level)

    assert len(log.lines()) == most


def test_the_daemon_writes_its_log_through_it(monkeypatch):
    given = {}
    monkeypatch.setattr(logging, "basicConfig", given.update)
    set_up("words")

    (handler,) = given["handlers"]
    assert isinstance(handler, BoundedHandler)


def test_what_is_no_request_at_all_fills_no_log(tmp_path):
    log = Log()
    refused = 5 * PER_MINUTE

    async def job(url, session, keys):
        host, port = url.removeprefix("http://").rstrip("/").split(":")
        for _ in range(refused):
            reader, writer = await asyncio.open_connection(host, int(port))
            writer.write(b"\x16\x03\x01 no HTTP\r\n\r\n")
            assert b" 400 " in await reader.readline()
            writer.close()

    logger = logging.getLogger("uvicorn.error")
    logger.addHandler(log.handler)
    try:
        on_a_network(tmp_path, job)
    finally:
        logger.removeHandler(log.handler)
    assert len(log.lines()) == PER_MINUTE
    log.now_ns += MINUTE_NS
    log.say("later", line=2)
    assert log.lines()[-2]["left_out"] == refused - PER_MINUTE - 1
