"""A listener cannot hold up the data: if it fails, the failure is logged."""

from __future__ import annotations

import logging
from collections.abc import Awaitable, Callable
from typing import Any

log = logging.getLogger("foreaft.session")


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
