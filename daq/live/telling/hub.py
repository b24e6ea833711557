"""Sends one message to every page, encoded once; a slow page never holds up the others or the acquisition."""

from __future__ import annotations

import asyncio

WAITING_AT_MOST = 500
"""Messages a page may lag behind, about 25 seconds; then it is disconnected and starts again with a snapshot."""


WAITING_BYTES = 1_000_000
"""And the bytes it may lag behind; the snapshot of a long sweep is a tenth of this."""


class Page:
    """One connected page: the messages waiting for it, and whether it was too slow."""

    def __init__(self) -> None:
        self.waiting: asyncio.Queue[str | bytes | None] = asyncio.Queue()
        """The messages waiting for it, in order; None: the end."""
        self.too_slow = False
        self.over = False
        """Whether the program ends."""
        self._bytes = 0

    def put(self, message: str | bytes) -> None:
        """Queue a message; a page that lags too far is disconnected."""
        if self.too_slow:
            return
        self._bytes += len(message)
        if self.waiting.qsize() >= WAITING_AT_MOST or self._bytes > WAITING_BYTES:
            self.too_slow = True
            self.cut_off()
        else:
            self.waiting.put_nowait(message)

    async def get(self) -> str | bytes | None:
        """The next message; None if this page is to be closed."""
        message = await self.waiting.get()
        self._bytes -= len(message or b"")
        return message

    def cut_off(self) -> None:
        """End this page's stream without what is queued."""
        while not self.waiting.empty():
            self.waiting.get_nowait()
        self.waiting.put_nowait(None)

    def close(self) -> None:
        """End this page's stream after what is queued."""
        self.waiting.put_nowait(None)


class Hub:
    """The pages now connected."""

    def __init__(self) -> None:
        self._pages: set[Page] = set()

    def __len__(self) -> int:
        return len(self._pages)

    def join(self, *first: str | bytes) -> Page:
        """A new page; `first`, in this order, are its first messages."""
        page = Page()
        for message in first:
            page.put(message)
        self._pages.add(page)
        return page

    def leave(self, page: Page) -> None:
        self._pages.discard(page)

    def send(self, message: str | bytes) -> None:
        """Queue one message for every page."""
        for page in self._pages:
            page.put(message)

    def close(self) -> None:
        """Close every page: the program ends."""
        for page in self._pages:
            page.over = True
            page.close()
