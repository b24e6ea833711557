"""The route of a client's own data: everything written down, as a page to print and hand over."""

from __future__ import annotations

from fastapi import FastAPI
from fastapi.responses import HTMLResponse

from daq.keep.clients import people
from daq.keep.json_text import plain
from daq.keep.package.own_data import kept_about, sweeps_of
from daq.keep.package.own_page import own_page
from daq.keep.store import Store
from daq.live.session.session import Session


def add_own_data(app: FastAPI, session: Session) -> None:
    """Read from the store; nothing is computed from raw data."""

    @app.get("/api/v1/clients/{pseudonym}/hand-over", response_class=HTMLResponse)
    async def hand_over(pseudonym: str) -> str:
        """Everything written down about this client, to print."""

        def page(store: Store) -> str:
            client = people.client_called(store, pseudonym)
            return own_page(plain(kept_about(store, client.id, sweeps_of(store, client.id))))

        return await session.acquisition.ask(page)
