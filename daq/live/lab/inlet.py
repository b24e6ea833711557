"""Markers of another instrument into the session: kept as events, at the time their sender gave them."""

from __future__ import annotations

import asyncio
from typing import Any

from daq.keep.errors import StoreError
from daq.live.lab.outlets import LabOutlets
from daq.live.session.acquisition import Acquisition
from daq.refusals import NotNow
from daq.text import checked_line

MARKER = "marker"
"""Event: another instrument's; content {"stream": its name, "text": ..., "t_s": session time it was sent for}."""
POLL_S, MOST_A_POLL = 0.1, 5
"""So that a sender gone wild fills neither the store nor the loop; what comes faster waits in the layer's buffer."""
BUFFER_S = 60
LOOK_S = 1.0
ANSWER_S = 5.0
"""In which a sender says what its clock shows; it is asked eight times first."""
LONGEST = 200
"""Letters of a marker."""


class MarkerInlet:
    """Takes the first channel of one stream, of words or numbers, for as long as there is one of that name."""

    def __init__(self, pylsl: Any, name: str, at: Acquisition, outlets: LabOutlets) -> None:
        self._pylsl, self._name, self._at, self._outlets = pylsl, name, at, outlets

    async def run(self) -> None:
        """Look for the stream, take its markers, look again when it is gone; until cancelled."""
        while True:
            found = await asyncio.to_thread(self._pylsl.resolve_byprop, "name", self._name, 1, LOOK_S)
            if not found:
                continue
            inlet = self._pylsl.StreamInlet(found[0], max_buflen=BUFFER_S, recover=False)
            try:
                await asyncio.to_thread(inlet.open_stream, ANSWER_S)
                await asyncio.to_thread(inlet.time_correction, ANSWER_S)  # from now on at hand
                self._at.notice("info", f"markers are taken from {self._name}")
                while True:
                    await self._take(inlet)
                    await asyncio.sleep(POLL_S)
            except (self._pylsl.LostError, self._pylsl.TimeoutError):
                self._at.notice("caution", f"no more markers from {self._name}: it is gone")
            finally:
                inlet.close_stream()

    async def _take(self, inlet: Any) -> None:
        samples, stamps = inlet.pull_chunk(timeout=0.0, max_samples=MOST_A_POLL)
        if not samples:
            return
        correction_s = inlet.time_correction(ANSWER_S)
        for sample, stamp_s in zip(samples, stamps, strict=True):
            t_s = stamp_s + correction_s - self._outlets.time.offset_s
            try:
                text = checked_line(str(sample[0])[:LONGEST])
                await self._at.accept(MARKER, {"stream": self._name, "text": text, "t_s": round(t_s, 6)})
            except (StoreError, NotNow, ValueError) as error:
                self._at.notice("caution", f"a marker of {self._name} was not kept: {error}")
