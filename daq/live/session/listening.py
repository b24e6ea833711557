"""No fault of one part ends the others. A listener that fails is logged, and cannot hold up the data; what runs beside
the others, as a link does, is begun again.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable, Coroutine
from typing import Any, Protocol

from daq.refusals import See

AGAIN_S = 1.0
log = logging.getLogger("foreaft.session")


class Tell(Protocol):
    """Shows everybody at the jig one sentence."""

    def __call__(self, level: str, text: str, *, see: See | None = None) -> None:
        """see: where it is done what it asks for."""


def safely(hears: Callable[..., object], *told: Any) -> None:
    """Tell a listener."""
    try:
        hears(*told)
    except Exception:
        log.exception("a listener failed")


async def safely_awaited(beat: Awaitable[object]) -> None:
    """The same for what has to be waited for."""
    try:
        await beat
    except Exception:
        log.exception("a listener failed")


async def kept_going(
    what: str, part: Callable[[], Coroutine[Any, Any, None]], notice: Callable[[str, str], None]
) -> None:
    """Run a part until it returns. If it fails, begin it again; each kind of failure is told once. what: its name in a
    sentence; notice: gets level and sentence, for a person."""
    told: set[str] = set()
    while True:
        try:
            return await part()
        except Exception as error:
            kind = fault_of(error)
            if kind not in told:
                told.add(kind)
                log.exception("a part of the daemon failed")
                safely(
                    notice,
                    "alarm",
                    f"{what} failed ({kind}) and was restarted; nothing that was received is lost. Check that every "
                    "sensor still sends, and report this with the log",
                )
        await asyncio.sleep(AGAIN_S)


def fault_of(error: BaseException) -> str:
    """The type of an error; of the first in a group of several."""
    while isinstance(error, BaseExceptionGroup):
        error = error.exceptions[0]
    return type(error).__name__
