"""The gate before the application, around an application that says what reached it."""

import asyncio
import json
import logging
import time

import httpx
import pytest
import uvloop

from daq.live.web import access, gate
from daq.live.web.access import COOKIE, Role
from daq.live.web.gate import Gate
from daq.live.web.steady import steady_s

NOW_KEYS = access.new_keys(1.0, utc_s=4_000_000_000.0, steady_s=steady_s())


class Echo:
    """Answers with what it was given."""

    def __init__(self):
        self.asked = []
        self.headers = []

    async def __call__(self, scope, receive, send):
        self.headers.append([name for name, _ in scope["headers"]])
        body = b""
        while scope["type"] == "http" and scope["method"] != "GET":
            message = await receive()
            body += message["body"]
            if not message["more_body"]:
                break
        self.asked.append((scope["path"], body, scope["state"]["role"]))
        if scope["type"] == "http":
            await send({"type": "http.response.start", "status": 200, "headers": []})
            await send({"type": "http.response.body", "body": body})
        else:
            await receive()
            await send({"type": "websocket.accept"})


def asked(*requests, keys=None, names=("jig",), base="http://localhost:8765", last_from="127.0.0.1"):
    """The answers to (method, path, options) in order, and the application behind. last_from: who sends the last."""
    behind = Echo()
    inside = Gate(behind, keys=keys, names=names)

    async def ask(some, address):
        transport = httpx.ASGITransport(app=inside, client=(address, 1))
        async with httpx.AsyncClient(transport=transport, base_url=base) as client:
            return [await client.request(method, path, **options) for method, path, options in some]

    async def ask_all():
        return [*await ask(requests[:-1], "127.0.0.1"), *await ask(requests[-1:], last_from)]

    return uvloop.run(ask_all()), behind


def socket_of(headers, *, keys=None, path="/api/v1/stream", times=1):
    """What the gate sends to a browser that opens the stream, so many times, and whether the application was
    reached."""
    behind, sent = Echo(), []

    async def receive():
        return {"type": "websocket.connect"}

    async def send(message):
        sent.append(message)

    found = [(name.encode(), value.encode()) for name, value in headers.items()]
    scope = {"type": "websocket", "path": path, "query_string": b"", "headers": found, "client": ("10.0.0.9", 1)}

    async def opened():
        inside = Gate(behind, keys=keys, names=("jig",))
        for _ in range(times):
            await inside(scope, receive, send)

    uvloop.run(opened())
    return sent, bool(behind.asked)


def pieces(count, size):
    async def parts():
        for _ in range(count):
            yield b"x" * size

    return parts()


def with_pass(role):
    return {"headers": {"Cookie": f"{COOKIE}={access.sealed(NOW_KEYS, role)}"}}


@pytest.mark.parametrize("method", ["GET", "POST"])
def test_a_foreign_name_pointed_at_this_machine_reaches_nothing(method):
    # DNS rebinding: the browser believes the page of evil.example and this daemon to be of one origin
    headers = {"Host": "evil.example:8765", "Origin": "http://evil.example:8765"}

    (answer,), behind = asked((method, "/api/v1/sweep", {"headers": headers}))

    assert answer.status_code == 421
    assert behind.asked == []


def test_a_header_that_comes_twice_means_nothing():
    twice = {"headers": [("Host", "localhost"), ("Host", "localhost")]}

    (answer,), _ = asked(("GET", "/", twice))

    assert answer.status_code == 421


def test_a_foreign_page_cannot_command():
    (answer,), behind = asked(("POST", "/api/v1/zero", {"headers": {"Origin": "http://evil.example"}}))

    assert (answer.status_code, answer.headers["content-type"]) == (403, "application/problem+json")
    assert behind.asked == []


def test_the_own_page_and_a_script_can_command():
    own = {"headers": {"Origin": "http://localhost:8765"}}

    answers, _ = asked(("POST", "/api/v1/zero", own), ("POST", "/api/v1/zero", {}))

    assert [answer.status_code for answer in answers] == [200, 200]


@pytest.mark.parametrize(
    "headers",
    [
        {"host": "evil.example", "origin": "http://evil.example"},
        {"host": "localhost:8765", "origin": "http://evil.example"},
        {"host": "localhost:8765", "origin": "null"},
    ],
)
def test_a_foreign_page_cannot_listen_to_the_stream(headers):
    sent, reached = socket_of(headers)

    assert [message["type"] for message in sent] == ["websocket.close"]
    assert not reached


def test_the_own_page_can_listen():
    sent, reached = socket_of({"host": "localhost:8765", "origin": "http://localhost:8765"})

    assert [message["type"] for message in sent] == ["websocket.accept"]
    assert reached


@pytest.mark.parametrize("options", [{"content": b"x" * 70_000}, {"content": None}])
def test_a_body_too_large_is_refused_whether_or_not_its_length_is_announced(options):
    content = options["content"] or pieces(70, 1000)

    (answer,), behind = asked(("POST", "/api/v1/marks", {"content": content}))

    assert (answer.status_code, answer.headers["connection"]) == (413, "close")
    assert behind.asked == []


def test_who_has_no_pass_may_say_no_more_than_a_key():
    sizes = (2048, 2049)
    said = [("POST", "/api/v1/access", {"content": b"x" * size}) for size in sizes]
    passed = ("POST", "/api/v1/marks", {"content": b"x" * 60_000, **with_pass(Role.RUN)})

    answers, behind = asked(*said, passed, keys=NOW_KEYS, base="http://jig:8765")

    assert [answer.status_code for answer in answers] == [200, 413, 200]
    assert [len(body) for _, body, _ in behind.asked] == [2048, 60_000]


def test_a_body_in_pieces_arrives_whole():
    (answer,), _ = asked(("POST", "/api/v1/marks", {"content": pieces(60, 1000)}))

    assert answer.content == b"x" * 60_000


def test_a_body_that_never_ends_is_given_up(monkeypatch):
    monkeypatch.setattr(gate, "BODY_WITHIN_S", 0.05)

    async def drip():
        yield b"x"
        await asyncio.sleep(30)

    (answer,), behind = asked(("POST", "/api/v1/marks", {"content": drip()}))

    assert answer.status_code == 408
    assert behind.asked == []


def test_an_address_too_long_is_refused():
    answers, _ = asked(("GET", "/" + "a" * 3000, {}), ("GET", "/?" + "a" * 3000, {}))

    assert [answer.status_code for answer in answers] == [414, 414]


def test_too_many_commands_are_held_back_but_the_stop_is_not(monkeypatch):
    monkeypatch.setattr(gate, "WRITES_PER_S", 0.01)  # so that a busy machine gives nothing back meanwhile
    # undo and the like count for themselves; the stop counts for nothing, and nothing counts for it
    many = [("POST", "/api/v1/marks", {})] * 70
    events = [("POST", "/api/v1/sweep/events", {"content": b'{"event": "redo"}'})] * 61
    stops = [("POST", "/api/v1/sweep/events", {"content": b'{"event": "stop"}'})] * 70

    answers, _ = asked(*many, *events, *stops, ("GET", "/", {}))

    codes = [answer.status_code for answer in answers]
    assert codes[:60] == [200] * 60
    assert codes[60:70] == [429] * 10
    assert codes[70:131] == [200] * 60 + [429]
    assert codes[131:] == [200] * 71
    assert int(next(answer for answer in answers if answer.status_code == 429).headers["retry-after"]) >= 1


@pytest.mark.parametrize(
    ("body", "stops"),
    [
        (b'{"event":"stop"}', True),
        (b'{"event": "stop", "setback_mm": null}', True),
        (b'{"event": "redo"}', False),
        (b'{"event": "redo", "what": "stop"}', False),
        (b'{"event": "stop"', False),
        (b'"stop"', False),
        (b"[" * 60_000, False),
        (b"\xff", False),
    ],
)
def test_the_stop_is_told_from_the_other_events(body, stops):
    assert gate.is_stop(body) is stops


@pytest.mark.parametrize("ask", [("POST", "/api/v1/marks", {}), ("GET", "/", {})], ids=["commands", "reads"])
def test_one_screens_haste_is_not_another_ones(monkeypatch, ask):
    for name, value in {"WRITES_PER_S": 0.01, "READS_PER_S": 0.01, "WRITES_AT_ONCE": 2.0, "READS_AT_ONCE": 2.0}.items():
        monkeypatch.setattr(gate, name, value)
    monkeypatch.setattr(gate, "LATE_S", 0.0)
    method, path, _ = ask
    fitters, riders = (method, path, with_pass(Role.RUN)), (method, path, with_pass(Role.RIDE))

    elsewhere, _ = asked(*[fitters] * 4, keys=NOW_KEYS, base="http://jig", last_from="10.0.0.9")
    another, _ = asked(*[fitters] * 3, riders, keys=NOW_KEYS, base="http://jig")

    assert [answer.status_code for answer in elsewhere] == [200, 200, 429, 200]
    assert another[-1].status_code == (200 if method == "GET" else 403)


def test_the_riders_haste_is_not_the_fitters(monkeypatch):
    monkeypatch.setattr(gate, "WRITES_PER_S", 0.01)
    event = {"content": b'{"event": "redo"}'}
    spam = [("POST", "/api/v1/sweep/events", {**with_pass(Role.RIDE), **event})] * 61

    answers, _ = asked(
        *spam, ("POST", "/api/v1/sweep/events", {**with_pass(Role.RUN), **event}), keys=NOW_KEYS, base="http://jig"
    )

    assert [answer.status_code for answer in answers] == [200] * 60 + [429, 200]


def test_whoever_reads_on_and_on_is_held_back_on_a_network_with_or_without_a_key(monkeypatch):
    monkeypatch.setattr(gate, "READS_PER_S", 0.01)
    monkeypatch.setattr(gate, "READS_AT_ONCE", 3.0)
    monkeypatch.setattr(gate, "LATE_S", 0.2)
    begun_s = time.monotonic()
    many = [("GET", "/", {})] * 2 + [("GET", "/api/v1/sweep", {})] * 2

    answers, behind = asked(*many, keys=NOW_KEYS, base="http://192.168.1.5:8765")
    here, _ = asked(*many)

    assert [answer.status_code for answer in answers] == [200, 200, 401, 429]
    assert time.monotonic() - begun_s > 0.2
    assert len(behind.asked) == 2
    assert [answer.status_code for answer in here] == [200] * 4


@pytest.mark.parametrize(
    ("one", "status"),
    [
        (("POST", "/api/v1/marks", {}), 401),
        (("GET", "/", {"headers": {"Host": "elsewhere.example"}}), 421),
        (("POST", "/api/v1/access", {"headers": {"Origin": "http://elsewhere.example"}}), 403),
    ],
    ids=["a command", "a foreign name", "a foreign page"],
)
def test_whoever_is_refused_on_and_on_is_refused_late(monkeypatch, one, status):
    monkeypatch.setattr(gate, "READS_PER_S", 0.01)
    monkeypatch.setattr(gate, "READS_AT_ONCE", 2.0)
    monkeypatch.setattr(gate, "LATE_S", 0.2)
    begun_s = time.monotonic()

    answers, _ = asked(*[one] * 3, keys=NOW_KEYS, base="http://192.168.1.5:8765")

    assert [answer.status_code for answer in answers] == [status, status, 429]
    assert time.monotonic() - begun_s > 0.2


def test_a_screen_without_a_pass_that_comes_again_and_again_does_not_fill_the_log(monkeypatch, caplog):
    monkeypatch.setattr(gate, "READS_AT_ONCE", 3.0)
    monkeypatch.setattr(gate, "READS_PER_S", 0.01)

    sent, reached = socket_of({"host": "jig:8765"}, keys=NOW_KEYS, times=20)

    assert [message["type"] for message in sent] == ["websocket.close"] * 20
    assert not reached
    assert [record.message for record in caplog.records] == ["stream refused"] * 3


def test_without_a_key_only_the_page_itself_is_given_out_on_a_network():
    paths = ("/", "/health/live", "/api/v1/sweep", "/api/v1/clients", "/health/ready", "/metrics")

    answers, _ = asked(*(("GET", path, {}) for path in paths), keys=NOW_KEYS, base="http://192.168.1.5:8765")

    assert [answer.status_code for answer in answers] == [200, 200, 401, 401, 401, 401]


def test_on_a_network_this_machine_itself_needs_a_key_too():
    # a page before it (a proxy) would come from 127.0.0.1 as well
    (answer,), _ = asked(("GET", "/api/v1/sweep", {}), keys=NOW_KEYS, base="http://127.0.0.1:8765")

    assert answer.status_code == 401


def test_the_riders_screen_can_look_and_stop_but_not_command_and_not_see_clients():
    wanted = [("GET", "/api/v1/clients"), ("POST", "/api/v1/zero"), ("PUT", "/api/v1/visit/intake"),
              ("POST", "/api/v1/sweep/events"), ("DELETE", "/api/v1/access")]  # fmt: skip

    answers, behind = asked(*((*one, with_pass(Role.RIDE)) for one in wanted), keys=NOW_KEYS, base="http://jig")

    assert [answer.status_code for answer in answers] == [403, 403, 403, 200, 200]
    assert {role for _, _, role in behind.asked} == {Role.RIDE}


def test_the_stream_needs_a_pass_on_a_network():
    own = {"host": "jig:8765", "origin": "http://jig:8765"}

    assert not socket_of(own, keys=NOW_KEYS)[1]
    assert not socket_of({**own, "cookie": f"{COOKIE}=run.4000003600.00"}, keys=NOW_KEYS)[1]
    assert not socket_of({**own, "cookie": "\x7f;;==;"}, keys=NOW_KEYS)[1]
    assert socket_of({**own, "cookie": f"{COOKIE}={access.sealed(NOW_KEYS, Role.RIDE)}"}, keys=NOW_KEYS)[1]


@pytest.mark.parametrize("path", ["/", "/api/v1/access"])
def test_every_answer_keeps_the_page_to_itself(path):
    (answer,), _ = asked(("GET", path, {}))

    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["x-request-id"]


def test_a_command_is_logged_with_the_number_it_was_answered_with_and_without_its_address(caplog):
    caplog.set_level(logging.INFO, logger="foreaft.web")

    (answer,), _ = asked(("POST", "/api/v1/visit?who=Ada+Example", {"content": json.dumps({"name": "Ada"})}))

    (record,) = caplog.records
    assert (record.method, record.status, record.client) == ("POST", 200, "127.0.0.1")
    assert "Ada" not in str(vars(record))
    assert len(answer.headers["x-request-id"]) == 8


def test_no_cookie_is_passed_on_with_or_without_keys():
    """Behind the gate cookies are unquoted, which for one made for it takes seconds of the loop (CVE-2024-7592)."""
    cookie = {"Cookie": f"{COOKIE}={access.sealed(NOW_KEYS, Role.RUN)}", "Accept": "text/html"}

    for keys, base in ((None, "http://localhost:8765"), (NOW_KEYS, "http://jig:8765")):
        (answer,), behind = asked(("GET", "/api/v1/sweep", {"headers": cookie}), keys=keys, base=base)

        assert answer.status_code == 200
        assert b"accept" in behind.headers[0]
        assert b"cookie" not in behind.headers[0]
