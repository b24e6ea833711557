"""The event loop everything runs in: uvloop where there is one, asyncio's own elsewhere (Windows)."""

from __future__ import annotations

import asyncio
import signal
from collections.abc import Callable, Coroutine
from typing import Any, TypeVar

try:
    import uvloop
except ImportError:
    uvloop = None  # type: ignore[assignment]

T = TypeVar("T")


def run(main: Coroutine[Any, Any, T]) -> T:
    """Run the main coroutine to its end."""
    return asyncio.run(main) if uvloop is None else uvloop.run(main)


def on_signals(numbers: tuple[signal.Signals, ...], hear: Callable[[signal.Signals], None]) -> None:
    """Call `hear` in the running loop when one of these signals arrives."""
    loop = asyncio.get_running_loop()
    for number in numbers:
        try:
            loop.add_signal_handler(number, hear, number)
        except NotImplementedError:  # Windows: Python's own handler wakes the loop
            signal.signal(number, lambda came, _: loop.call_soon_threadsafe(hear, signal.Signals(came)) and None)
