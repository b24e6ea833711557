"""Keys, passes, hosts, haste: the pure part of access over a network."""

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.live.web import access
from daq.live.web.access import Haste, Role

NOW_S = 5000.0
KEYS = access.new_keys(12.0, utc_s=1_800_000_000.0, steady_s=NOW_S)
DIGITS_AND_DOTS = st.text("0123456789abcdef.-runide", max_size=120)


@pytest.mark.parametrize("role", Role)
def test_a_key_opens_its_role_until_its_time_is_over(role):
    token = getattr(KEYS, role)

    assert access.role_of(KEYS, token, NOW_S) is role
    assert access.role_of(KEYS, token, NOW_S + 12 * 3600 - 1) is role
    assert access.role_of(KEYS, token, NOW_S + 12 * 3600) is None


@pytest.mark.parametrize(
    ("cookies", "found"),
    [
        ("foreaft=run.7.ab", "run.7.ab"),
        ("theme=dark; foreaft=run.7.ab; lang=de", "run.7.ab"),
        ("myforeaft=run.7.ab", None),
        ("foreaft", ""),
        ("", None),
        (None, None),
    ],
)
def test_the_pass_is_found_among_cookies(cookies, found):
    assert access.pass_in(cookies) == found


@pytest.mark.parametrize("role", Role)
def test_a_pass_opens_its_role_until_its_time_is_over(role):
    given_pass = access.sealed(KEYS, role)

    assert access.role_of_pass(KEYS, given_pass, NOW_S) is role
    assert access.role_of_pass(KEYS, given_pass, NOW_S + 12 * 3600) is None


def test_a_riders_pass_cannot_be_made_into_a_fitters():
    given_pass = access.sealed(KEYS, Role.RIDE)

    assert access.role_of_pass(KEYS, given_pass.replace("ride", "run", 1), NOW_S) is None


def test_a_pass_that_was_ended_cannot_take_the_number_of_another():
    given_pass = access.sealed(KEYS, Role.RIDE, "00aa")

    assert access.role_of_pass(KEYS, given_pass, NOW_S) is Role.RIDE
    assert access.role_of_pass(KEYS, given_pass.replace("00aa", "00bb"), NOW_S) is None


def test_a_pass_does_not_hold_the_key_and_does_not_live_longer_than_the_keys():
    later = dataclasses.replace(KEYS, expires_s=KEYS.expires_s + 1000)

    assert KEYS.run not in access.sealed(KEYS, Role.RUN)
    assert access.role_of_pass(KEYS, access.sealed(later, Role.RUN), NOW_S) is None


def test_new_keys_are_all_different_and_192_bits_long():
    other = access.new_keys(12.0, utc_s=1_800_000_000.0, steady_s=NOW_S)

    # RFC 4648: base64 carries 6 bits in a letter
    assert len({KEYS.run, KEYS.ride, KEYS.secret, other.run, other.ride, other.secret}) == 6
    assert all(6 * len(key) >= 192 for key in (KEYS.run, KEYS.ride, KEYS.secret))


def test_keys_do_not_show_when_they_are_printed():
    assert KEYS.run not in repr(KEYS)
    assert KEYS.secret not in repr(KEYS)


@given(st.text(max_size=200) | DIGITS_AND_DOTS)
def test_nothing_else_is_a_key_or_a_pass(text):
    assert access.role_of(KEYS, text, NOW_S) is None
    assert access.role_of_pass(KEYS, text, NOW_S) is None


@pytest.mark.parametrize(
    ("role", "method", "path", "allowed"),
    [
        (None, "GET", "/", True),
        (None, "GET", "/main.js", True),
        (None, "GET", "/health/live", True),
        (None, "POST", "/api/v1/access", True),
        (None, "GET", "/health/ready", False),
        (None, "GET", "/metrics", False),
        (None, "GET", "/api/v1/stream", False),
        (None, "GET", "/api/v1/clients", False),
        (None, "GET", "/api/v1/openapi", False),
        (Role.RIDE, "GET", "/api/v1/stream", True),
        (Role.RIDE, "POST", "/api/v1/sweep/events", True),
        (Role.RIDE, "GET", "/api/v1/sweep", False),
        (Role.RIDE, "GET", "/api/v1/clients", False),
        (Role.RIDE, "HEAD", "/api/v1/clients", False),
        (Role.RIDE, "POST", "/api/v1/zero", False),
        (Role.RUN, "POST", "/api/v1/zero", True),
        (Role.RUN, "GET", "/api/v1/clients", True),
    ],
)
def test_what_each_role_may_ask_for(role, method, path, allowed):
    assert access.may(role, method, path) is allowed


@given(st.sampled_from(["GET", "POST", "PUT", "DELETE", "PATCH"]), st.text(max_size=40))
def test_nothing_under_the_api_is_open_by_accident(method, rest):
    path = f"/api/{rest}"

    assert access.may(None, method, path) is ((method, path) in access.OPEN)


@pytest.mark.parametrize(
    "host", ["localhost", "localhost:8765", "LOCALHOST:1", "127.0.0.1:8765", "127.8.9.1", "[::1]:80"]
)
def test_a_local_daemon_goes_by_local_hosts(host):
    assert access.local_host(host)


FOREIGN = ["evil.example", "localhost.evil.example:8765", "192.168.1.5:8765", "127.0.0.1.evil.example", "[fe80::1]:80"]
UNSOUND = [None, "", "[::1", "a:b", "127.0.0.1:8765:1", "\0"]


@pytest.mark.parametrize("host", [*FOREIGN, *UNSOUND])
def test_a_local_daemon_goes_by_no_other_host(host):
    assert not access.local_host(host)


def test_on_a_network_an_address_or_an_own_name_is_needed_so_that_no_foreign_name_can_be_pointed_here():
    names = frozenset({"jig", "jig.local"})
    ours = ("192.168.1.5:8765", "[fd00::5]:8765", "jig:8765", "JIG.local")
    foreign = ("evil.example:8765", "jig.evil.example", "", None)

    assert [access.host_allowed(host, names) for host in ours] == [True] * 4
    assert [access.host_allowed(host, names) for host in foreign] == [False] * 4


@pytest.mark.parametrize(
    ("origin", "host", "same"),
    [
        (None, "localhost:8765", True),
        ("http://localhost:8765", "localhost:8765", True),
        ("https://jig", "jig", True),
        ("http://localhost:9999", "localhost:8765", False),
        ("http://127.0.0.1:8765", "localhost:8765", False),
        ("null", "localhost:8765", False),
        ("file://localhost:8765", "localhost:8765", False),
        ("", "localhost:8765", False),
    ],
)
def test_only_our_own_pages_are_of_the_same_origin(origin, host, same):
    assert access.same_origin(origin, host) is same


def test_haste_is_held_back_for_each_client_alone_and_passes():
    haste = Haste(per_s=2.0, at_once=3.0)

    assert [haste.wait_s("a", 100.0) for _ in range(4)] == [0.0, 0.0, 0.0, 0.5]
    assert haste.spent("a", 100.0)
    assert haste.wait_s("b", 100.0) == 0.0
    assert haste.wait_s("a", 100.5) == 0.0
    assert haste.wait_s("a", 100.5) > 0.0


def test_clients_without_number_do_not_fill_the_memory():
    haste = Haste(per_s=2.0, at_once=3.0)
    for number in range(20_000):
        haste.wait_s(f"client {number}", number / 10)

    assert len(haste.clients) <= access.CLIENTS_KEPT + 1
