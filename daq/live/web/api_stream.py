"""The stream of messages to a screen, and when it ends."""

from __future__ import annotations

import asyncio
import contextlib
import math
from collections import Counter
from collections.abc import Callable
from functools import partial

from fastapi import FastAPI, WebSocket, WebSocketDisconnect

from daq.live.telling.blind import for_rider
from daq.live.telling.hub import Page
from daq.live.telling.teller import Teller
from daq.live.web.access import Haste, Role
from daq.live.web.passes import Passes
from daq.live.web.problems import problem
from daq.live.web.steady import steady_s

STREAMS_OF = {Role.RUN: 64, Role.RIDE: 32}
"""At once; a rider's key takes no fitter's place."""
OPENED_PER_S, OPENED_AT_ONCE = 1.0, 64.0
"""Of one address and pass: each costs a snapshot and the last half minute of loads."""
PASS_LOOKED_AT_S = 0.5
A_DAY_S = 86_400.0
"""A stream is opened anew after this at the latest, and when the key's time is over."""
OVER = "over"
"""Why a stream is closed when the program ends, for the page to say so."""


def add_stream(app: FastAPI, teller: Teller, passes: Passes | None) -> None:
    """passes: those given; None when they are not kept."""
    streams_of: Counter[Role] = Counter()
    opening = Haste(per_s=OPENED_PER_S, at_once=OPENED_AT_ONCE)

    @app.websocket("/api/v1/stream")
    async def stream(socket: WebSocket) -> None:
        state = socket.scope.get("state", {})
        role, ends_s = state.get("role", Role.RUN), state.get("ends_s")
        client = f"{socket.client.host if socket.client else 'here'} {state.get('number', '')}"
        if streams_of[role] >= STREAMS_OF[role]:
            await _refuse(socket, 503, "too many screens", "close one that is not looked at")
            return
        if wait_s := opening.wait_s(client, steady_s()):
            await _refuse(socket, 429, "too fast", f"wait {math.ceil(wait_s)} s")
            return
        streams_of[role] += 1
        try:
            await socket.accept()
            holds = None if passes is None else partial(passes.holds, state.get("number", ""))
            await _told(socket, teller, riders=role is Role.RIDE, ends_s=ends_s, holds=holds)
        finally:
            streams_of[role] -= 1


async def _refuse(socket: WebSocket, status: int, title: str, detail: str) -> None:
    """Whoever has left meanwhile needs no answer."""
    with contextlib.suppress(WebSocketDisconnect):
        await socket.send_denial_response(problem(status, title, detail))


async def _told(
    socket: WebSocket, teller: Teller, *, riders: bool, ends_s: float | None, holds: Callable[[], bool] | None
) -> None:
    """Send a screen all that its role may see until it leaves, is too slow, its time is over, or its pass was ended."""
    page = teller.join()
    waiting = [asyncio.create_task(_until_gone(socket, page))]
    if holds is not None:
        waiting.append(asyncio.create_task(_until_ended(holds, page)))
    left_s = math.inf if ends_s is None else max(0.0, ends_s - steady_s())
    end = asyncio.get_running_loop().call_later(min(left_s, A_DAY_S), page.close)
    try:
        while (message := await page.get()) is not None:
            if riders and (message := for_rider(message)) is None:
                continue
            await (socket.send_bytes(message) if isinstance(message, bytes) else socket.send_text(message))
        await socket.close(1013 if page.too_slow else 1001, OVER if page.over else None)
    except (WebSocketDisconnect, RuntimeError):
        pass
    finally:
        end.cancel()
        for task in waiting:
            task.cancel()
        teller.leave(page)


async def _until_gone(socket: WebSocket, page: Page) -> None:
    """Pages only listen; reading notices when one has left."""
    try:
        while True:
            await socket.receive()
    except (WebSocketDisconnect, RuntimeError):
        page.close()


async def _until_ended(holds: Callable[[], bool], page: Page) -> None:
    """Close a screen whose pass was ended, without what it has still to be sent."""
    while holds():
        await asyncio.sleep(PASS_LOOKED_AT_S)
    page.cut_off()
