"""`foreaft clients`, `consent`, `keep-until`: who is on record, what they agreed to, until when. Never a name."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import click

from daq.cli.stored import a_store, opened
from daq.cli.telling import json_flag, print_json, say, tell


@click.command()
@click.option("--overdue", is_flag=True, help="Only those whose records are past their date and due for deletion.")
@a_store
@json_flag
def clients(overdue: bool, store: Path | None, as_json: bool) -> None:
    """List clients by pseudonym: since when, until when records are kept, what was agreed to, and which other
    pseudonyms were joined with each.

    Names stay in the store; the client screen shows them.
    """
    from daq.keep.clients import people
    from daq.keep.clients.copies import exports_noted

    with opened(store) as open_store:
        known = people.clients(open_store, damaged=lambda error: tell(str(error)))
        rows: list[dict[str, Any]] = [
            {
                "client": one.pseudonym,
                "since_utc": one.since_utc,
                "keep_until": one.keep_until,
                "overdue": people.is_overdue(one, people.today()),
                "consents": people.consents(open_store, one.id),
                "also": [each.pseudonym for each in people.records_of(open_store, one.id)[1:]],
                "exports": [str(copy.path) for copy in exports_noted(open_store, one)],
            }
            for one in known
            if people.is_overdue(one, people.today()) or not overdue
        ]
    if as_json:
        print_json(rows)
        return
    for row in rows:
        agreed = ", ".join(kind for kind, given in row["consents"].items() if given) or "nothing"
        due = "   OVERDUE: foreaft forget " + row["client"] if row["overdue"] else ""
        also = f"   also {', '.join(row['also'])}" if row["also"] else ""
        say(f"{row['client']}   keep until {row['keep_until'] or 'no date'}   agreed to {agreed}{also}{due}")
    if not rows:
        tell("nobody's records are past their date" if overdue else "no clients yet")


@click.command()
@click.argument("client")
@click.argument("kind", type=click.Choice(["service", "research", "images"]))
@click.argument("said", type=click.Choice(["given", "withdrawn"]))
@a_store
def consent(client: str, kind: Any, said: str, store: Path | None) -> None:
    """Note what CLIENT (a pseudonym) said about the fitting's records, research, or images. What was said before is
    kept; the last word counts. The daemon must not be running on the same store.

    When consent to research is withdrawn, the exports already made of the client's sweeps are named.
    """
    from daq.keep.clients import people
    from daq.keep.clients.copies import UNREAD, exports_of

    with opened(store, write=True) as open_store:
        known = people.client_called(open_store, client)
        people.set_consent(open_store, known.id, kind, said == "given")
        made = exports_of(open_store, known) if (kind, said) == ("research", "withdrawn") else []
    tell(f"{known.pseudonym}: {kind} {said}")
    for copy in made:
        if copy.unread:
            tell(f"of exports made from the backup {copy.path}, {UNREAD}")
            continue
        gone = "" if copy.path.exists() else " (not there now: moved?)"
        tell(f"exported before, on {copy.made_utc[:10]}, remove it by hand: {copy.path}{gone}")


@click.command("keep-until")
@click.argument("client")
@click.argument("date", type=click.DateTime(["%Y-%m-%d"]))
@a_store
def keep_until(client: str, date: datetime.datetime, store: Path | None) -> None:
    """Keep the records of CLIENT (a pseudonym) until DATE, YYYY-MM-DD; after it `foreaft clients --overdue` lists
    them. Nothing is deleted automatically.
    """
    from daq.keep.clients import people

    with opened(store, write=True) as open_store:
        known = people.client_called(open_store, client)
        people.set_keep_until(open_store, known.id, date.date())
    tell(f"{known.pseudonym}: kept until {date.date().isoformat()}")
