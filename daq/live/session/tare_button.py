"""The board's tare button: takes the zero of the empty jig, as the page's button does, and confirms it to the board."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable

from daq.keep.errors import StoreError
from daq.live.session.listening import Tell, fault_of, log
from daq.measure.zero import OVER_S
from daq.refusals import NotNow, Refusal

LOOK_EVERY_S = 0.1
REST_S = OVER_S + 0.5
"""From the press to the zero, so that the hand is off the button; a board keeps the bit set for 5 s."""


class TareButton:
    """Watches the bit in a board's scans, and answers each press once."""

    def __init__(
        self,
        *,
        asked: Callable[[], bool],
        take: Callable[[], Awaitable[object]],
        notice: Tell,
        tell_board: Callable[[], None],
    ) -> None:
        """asked: whether the bit is set. take: takes the zero. notice: gets level and sentence. tell_board: tells the
        board that the requested tare is done."""
        self._asked, self._take, self._notice, self._tell_board = asked, take, notice, tell_board

    async def run(self) -> None:
        """Answer presses until cancelled."""
        while True:
            await self._until(pressed=True)
            await asyncio.sleep(REST_S)
            try:
                await self._take()
                self._tell_board()
            except (NotNow, ValueError, StoreError) as refusal:
                see = refusal.see if isinstance(refusal, Refusal) else None
                self._notice("caution", f"the board's tare button: {refusal}", see=see)
            except Exception as error:  # begun again, this would take the same press for another one
                log.exception("the tare button's zero failed")
                self._notice(
                    "alarm",
                    f"the board's tare button: a fault of this program ({fault_of(error)}); it is not certain that the "
                    "zero was taken. Take it on the page, and report it with the log",
                )
            await self._until(pressed=False)

    async def _until(self, *, pressed: bool) -> None:
        while self._asked() is not pressed:
            await asyncio.sleep(LOOK_EVERY_S)
