"""Markers of another instrument into the session: kept as events, at the time their sender gave them. What a sender
leaves behind when it goes is kept too: without its clock's offset, at the time of receipt.
"""

from __future__ import annotations

import asyncio
from typing import Any

from daq.keep.errors import StoreError
from daq.live.lab.outlets import LabOutlets
from daq.live.session.acquisition import Acquisition
from daq.live.session.listening import log
from daq.text import visible_line

MARKER = "marker"
"""Event: another instrument's; content {"stream": its name, "text": control characters as escapes, "stamp_s": on its
sender's clock, "t_s": session time it was sent for, None if that clock's offset is unknown}."""
POLL_S, MOST_A_POLL = 0.1, 5
"""So that a sender gone wild fills neither the store nor the loop; what comes faster waits in the layer's buffer."""
BUFFER_S = 60
LOOK_S = 1.0
ANSWER_S = 5.0
"""In which a sender says what its clock shows; it is asked eight times first."""
LONGEST = 200
"""Letters of a marker; the escapes of control characters are not counted."""


class MarkerInlet:
    """Takes the first channel of one stream, of words or numbers, for as long as there is one of that name."""

    def __init__(self, pylsl: Any, name: str, at: Acquisition, outlets: LabOutlets) -> None:
        self._pylsl, self._name, self._at, self._outlets = pylsl, name, at, outlets
        self._waits = ""
        """Why the last markers are not on the disk yet; empty if they are."""

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
            except (self._pylsl.util.LostError, self._pylsl.util.TimeoutError):
                self._at.notice("caution", f"no more markers from {self._name}: it is gone")
            finally:
                inlet.close_stream()

    async def _take(self, inlet: Any) -> None:
        """Keep what has come, all of it before anything is waited for. What the sender's clock has to be asked for may
        fail: that is raised after."""
        samples, stamps = inlet.pull_chunk(timeout=0.0, max_samples=MOST_A_POLL, as_numpy=True)  # words undecoded
        if not len(samples):
            return
        gone: Exception | None = None
        to_session_s: float | None = None
        try:
            to_session_s = inlet.time_correction(ANSWER_S) - self._outlets.time.offset_s
        except Exception as error:  # they are here, and come no second time
            gone = error
        for sample, stamp_s in zip(samples, stamps, strict=True):
            self._keep(_text(sample[0]), float(stamp_s), to_session_s)
        if gone is not None:
            self._at.notice(
                "caution",
                f"the last markers from {self._name} are kept with their time of arrival: when they were sent is "
                "unknown",
            )
        await self._stored()
        if gone is not None:
            raise gone

    def _keep(self, text: str, stamp_s: float, to_session_s: float | None) -> None:
        t_s = None if to_session_s is None else round(stamp_s + to_session_s, 6)
        try:
            self._at.arrive(MARKER, {"stream": self._name, "text": text, "stamp_s": stamp_s, "t_s": t_s})
        except Exception as error:  # the others have come too
            log.exception("a marker could not be passed on")
            self._at.notice(
                "caution",
                f"a marker of {self._name} is kept and was not passed on, by a fault of this program ({error!r})",
            )

    async def _stored(self) -> None:
        """Wait for the disk. A store that does not take them now is told once: they are in the queue."""
        waits = ""
        try:
            await self._at.stored()
        except StoreError as error:
            waits = str(error)
        if waits and waits != self._waits:
            self._at.notice("caution", f"markers of {self._name}: {waits}")
        self._waits = waits


def _text(sent: Any) -> str:
    """What was sent, in one line. Bytes that are not UTF-8, as an instrument with another code page sends them, are
    escaped: the marker counts all the same."""
    text = sent.decode("utf-8", "backslashreplace") if isinstance(sent, bytes) else str(sent)
    return visible_line(text[:LONGEST])
