"""The routes of access: a key for a pass, what the pass is good for, and the end of it or of another one's."""

from __future__ import annotations

import datetime
import math
from dataclasses import asdict
from typing import Annotated, Any

from fastapi import FastAPI, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from daq.live.bench.standing import utc_now
from daq.live.web import access
from daq.live.web.access import COOKIE, Haste, Keys, Role
from daq.live.web.passes import AllEnded, Passes
from daq.live.web.problems import Problem
from daq.live.web.steady import steady_s
from daq.refusals import NotNow
from daq.text import Line

WRONG_PER_MINUTE = 5


class Key(BaseModel):
    """The key from the link or QR code the daemon shows."""

    model_config = ConfigDict(extra="forbid")

    token: Annotated[Line, Field(min_length=1, max_length=200)]


class Screen(BaseModel):
    """A screen that was let in."""

    number: Line
    role: Role
    since_utc: Line
    address: Line
    this: bool
    """Whether it is the one that asks."""


def add_access(app: FastAPI, keys: Keys | None, passes: Passes | None) -> None:
    """keys None: this machine only, where no key is needed. passes: those issued, None when they are not kept."""
    _add_own(app, keys, passes)
    _add_others(app, passes)


def _add_own(app: FastAPI, keys: Keys | None, passes: Passes | None) -> None:
    wrong = Haste(per_s=WRONG_PER_MINUTE / 60.0, at_once=WRONG_PER_MINUTE)

    @app.get("/api/v1/access")
    async def standing(request: Request) -> dict[str, Any]:
        """This browser's role, null without one, and until when; no end if the daemon serves this machine only."""
        return _fields(request.scope.get("state", {}).get("role", Role.RUN), keys)

    @app.post("/api/v1/access")
    async def show_key(body: Key, request: Request, response: Response) -> dict[str, Any]:
        """Exchange a valid key for a pass, a cookie for this browser."""
        if keys is None:
            raise NotNow("the daemon listens on this machine alone and asks nobody for a key")
        client = request.client.host if request.client else "here"
        now_s = steady_s()
        if wrong.spent(client, now_s):
            raise Problem(429, "too many wrong keys", "wait a minute, then open the link again", wait_s=60)
        role = access.role_of(keys, body.token, now_s)
        if role is None:
            wrong.wait_s(client, now_s)
            raise Problem(401, "no such key", "the key is wrong or its time is over: open the link shown now")
        response.set_cookie(
            COOKIE,
            access.sealed(keys, role, _given(passes, role, client)),
            max_age=math.floor(keys.ends_s - now_s),
            httponly=True,
            samesite="strict",
            secure=request.url.scheme == "https",
        )
        return _fields(role, keys)

    @app.delete("/api/v1/access", status_code=204)
    async def leave(request: Request, response: Response) -> None:
        """This browser gives its pass back."""
        if passes is not None:
            passes.end(_number(request))
        response.delete_cookie(COOKIE, httponly=True, samesite="strict")


def _add_others(app: FastAPI, passes: Passes | None) -> None:
    @app.get("/api/v1/access/screens")
    async def screens(request: Request) -> list[Screen]:
        """The screens that were let in; none on this machine alone."""
        given = () if passes is None else passes.given()
        return [Screen(**asdict(one), this=one.number == _number(request)) for one in given]

    @app.delete("/api/v1/access/screens", status_code=204)
    async def end_others(request: Request) -> None:
        """End the pass of every screen but this one, at once."""
        for one in () if passes is None else passes.given():
            if passes is not None and one.number != _number(request):
                passes.end(one.number)

    @app.delete("/api/v1/access/screens/{number}", status_code=204)
    async def end_one(number: Annotated[Line, Field(max_length=40)]) -> None:
        """End the pass of one screen, at once."""
        if passes is None or not passes.end(number):
            raise Problem(404, "no such screen", "no screen with this number is let in")


def _given(passes: Passes | None, role: Role, client: str) -> str:
    if passes is None:
        return "0"
    try:
        return passes.give(role, since_utc=utc_now(), address=client)
    except AllEnded as error:
        raise Problem(401, "no such key", "all keys were ended: start the daemon again for new ones") from error


def _number(request: Request) -> str:
    return str(request.scope.get("state", {}).get("number", ""))


def _fields(role: Role | None, keys: Keys | None) -> dict[str, Any]:
    until = None if keys is None else datetime.datetime.fromtimestamp(keys.expires_s, datetime.UTC)
    return {"role": role, "until_utc": None if until is None else until.isoformat(timespec="seconds")}
