"""Who may do what over a network: keys, the signed pass a browser keeps, permitted addresses, and rate limits. Time is
passed in from a clock that nobody can set (daq.live.web.steady); nothing here touches the network. A daemon that
listens on this machine only asks nobody for a key.
"""

from __future__ import annotations

import enum
import hashlib
import hmac
import ipaddress
import secrets
from collections.abc import Collection
from dataclasses import dataclass, field

COOKIE = "foreaft"
TOKEN_BYTES = 24
"""192 random bits: impossible to guess at any rate."""


class Role(enum.StrEnum):
    """What a key is for."""

    RUN = "run"
    """The fitter: everything."""
    RIDE = "ride"
    """The screen in front of the rider: cadence, power, and the stop. No loads, no setback, no clients."""


OPEN = frozenset({("POST", "/api/v1/access"), ("GET", "/api/v1/access"), ("GET", "/health/live")})
"""What is answered without a key, besides the page's own files."""
RIDERS = frozenset({("GET", "/api/v1/stream"), ("POST", "/api/v1/sweep/events"), ("DELETE", "/api/v1/access")})
"""What the rider's screen may request in addition; of the events, only the stop."""
CLOSED_PREFIXES = ("/api/", "/health/", "/metrics")


@dataclass(frozen=True, slots=True)
class Keys:
    """The keys of one daemon, all valid until the same moment."""

    run: str = field(repr=False)
    ride: str = field(repr=False)
    secret: str = field(repr=False)
    """Signs the passes."""
    expires_s: float
    """Seconds since 1970, for display; the machine's clock may be changed, so this does not decide."""
    ends_s: float
    """The same moment by the steady clock, which decides."""


def new_keys(hours: float, *, utc_s: float, steady_s: float) -> Keys:
    """Fresh random keys, valid for `hours` from now on."""
    run, ride, secret = (secrets.token_urlsafe(TOKEN_BYTES) for _ in range(3))
    return Keys(run, ride, secret, utc_s + 3600.0 * hours, steady_s + 3600.0 * hours)


def role_of(keys: Keys, token: str, now_s: float) -> Role | None:
    """The role of this key; None for a wrong or expired one. Wrong keys take as long to check as right ones."""
    fits = [role for role in Role if _same(token, getattr(keys, role))]
    return fits[0] if fits and now_s < keys.ends_s else None


def sealed(keys: Keys, role: Role, number: str = "0") -> str:
    """The pass of this number (daq.live.web.passes) for a browser that has shown the key of this role."""
    return f"{role}.{number}.{_seal(keys, role, number)}"


def pass_in(cookies: str | None) -> str | None:
    """The pass in a Cookie header, None without one.

    Not with http.cookies: before Python 3.11.10 it takes a time that grows with the square of the header's length
    (CVE-2024-7592), 46 s for 60 kB, and whoever sends that has shown no key yet. A pass has nothing to unquote.
    """
    parts = (part.strip().partition("=") for part in (cookies or "").split(";"))
    found = [value for name, _, value in parts if name == COOKIE]
    return found[-1] if found else None


def number_of_pass(sealed_pass: str) -> str:
    """Its number, whether or not it is one of ours."""
    return sealed_pass.partition(".")[2].partition(".")[0]


def role_of_pass(keys: Keys, sealed_pass: str, now_s: float) -> Role | None:
    """The role of a pass; None for one that is not ours, was altered, or has expired."""
    number = number_of_pass(sealed_pass)
    fits = [role for role in Role if _same(sealed_pass, sealed(keys, role, number))]
    return fits[0] if fits and now_s < keys.ends_s else None


def may(role: Role | None, method: str, path: str) -> bool:
    """Whether this role may make this request. HEAD counts as GET."""
    asked = ("GET" if method == "HEAD" else method, path)
    if role is Role.RUN or asked in OPEN or not path.startswith(CLOSED_PREFIXES):
        return True
    return role is Role.RIDE and asked in RIDERS


def host_allowed(host: str | None, names: Collection[str]) -> bool:
    """Whether a Host header names this daemon: by an address, or by one of these names.

    A foreign page can point its own name at this machine (DNS rebinding) and would then have the same origin; it cannot
    do so with a bare address or with our names.
    """
    name = name_of_host(host)
    return name is not None and (name in names or _is_address(name))


def local_host(host: str | None) -> bool:
    """Whether a Host header is valid for a daemon that listens on this machine only."""
    name = name_of_host(host)
    return name == "localhost" or (name is not None and _is_address(name) and ipaddress.ip_address(name).is_loopback)


def name_of_host(host: str | None) -> str | None:
    """A Host header without its port, in lower case; None if it is invalid."""
    if not host:
        return None
    name, bracket, port = host.lower().partition("]")
    if bracket:
        well = name.startswith("[") and (not port or (port[0] == ":" and port[1:].isdigit()))
        return name[1:] if well else None
    name, _, port = host.lower().partition(":")
    return name if name and (not port or port.isdigit()) else None


def same_origin(origin: str | None, host: str | None) -> bool:
    """Whether a request comes from a page of this daemon, or from no page at all (a script, the command line)."""
    return origin is None or origin in (f"http://{host}", f"https://{host}")


@dataclass(slots=True)
class Haste:
    """A rate limit for each client: a burst of `at_once` requests, then `per_s` a second."""

    per_s: float
    at_once: float
    clients: dict[str, tuple[float, float]] = field(default_factory=dict)
    """For each client how much of the burst was used, and when."""

    def wait_s(self, client: str, now_s: float) -> float:
        """How long this client has to wait, s. If 0, one more request is counted."""
        used = self._in_use(client, now_s)
        if used + 1.0 > self.at_once:
            return (used + 1.0 - self.at_once) / self.per_s
        self.clients[client] = (used + 1.0, now_s)
        if len(self.clients) > CLIENTS_KEPT:
            self.clients = {name: kept for name, kept in self.clients.items() if self._in_use(name, now_s) > 0.0}
        return 0.0

    def spent(self, client: str, now_s: float) -> bool:
        """Whether this client would have to wait."""
        return self._in_use(client, now_s) + 1.0 > self.at_once

    def _in_use(self, client: str, now_s: float) -> float:
        used, at_s = self.clients.get(client, (0.0, now_s))
        return max(0.0, used - self.per_s * (now_s - at_s))


CLIENTS_KEPT = 1000


def _seal(keys: Keys, role: Role, number: str) -> str:
    meant = f"{role}.{number}.{keys.expires_s:.0f}"
    return hmac.new(keys.secret.encode(), _bytes(meant), hashlib.sha256).hexdigest()


def _same(a: str, b: str) -> bool:
    return hmac.compare_digest(_bytes(a), _bytes(b))


def _bytes(text: str) -> bytes:
    return text.encode("utf-8", "surrogatepass")


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True
