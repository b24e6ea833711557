"""A session tied to the Lab Streaming Layer."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine, Sequence
from typing import Any

from daq.live.lab.calls import CALLED_AT, pass_calls_on
from daq.live.lab.inlet import MarkerInlet
from daq.live.lab.layer import Scope, library
from daq.live.lab.outlets import LabOutlets
from daq.live.session.acquisition import Acquisition


def links_to_lab(
    at: Acquisition, scope: Scope, markers: Sequence[str]
) -> list[Callable[[], Coroutine[Any, Any, None]]]:
    """Opens the streams; what then has to run: the streams can be found, and markers are taken. LabUnusable."""
    pylsl = library(scope)
    outlets = LabOutlets(pylsl, scope, at)

    async def be_found() -> None:
        try:
            await pass_calls_on()
        except OSError as error:
            at.notice(
                "caution",
                f"a recorder on this machine may find only some of the streams: port {CALLED_AT} is another "
                f"program's ({error.strerror}); in its lsl_api.cfg, say KnownPeers = {{127.0.0.1}}",
            )
            await asyncio.Event().wait()

    taken = [MarkerInlet(pylsl, name, at, outlets).run for name in markers]
    return [be_found, *taken] if scope == "machine" else [*taken]
