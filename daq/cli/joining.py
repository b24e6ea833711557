"""`foreaft join-clients`, `part-clients`: one client who was entered twice."""

from __future__ import annotations

from pathlib import Path

import click

from daq.cli.stored import a_store, opened
from daq.cli.telling import REFUSED, fail, tell


@click.command("join-clients")
@click.argument("kept")
@click.argument("other")
@click.option("--yes", is_flag=True, help="Do it; without this, only say what would change.")
@a_store
def join_clients(kept: str, other: str, yes: bool, store: Path | None) -> None:
    """Join two records of one client who was entered twice, under the pseudonyms KEPT and OTHER.

    KEPT stays and gets the visits and sweeps of OTHER. Where the two differ in what was agreed, the stricter holds.
    What was recorded is not touched; foreaft part-clients undoes it. The daemon must not be running on the same store.
    """
    from daq.keep.clients.join_words import joining_said
    from daq.keep.clients.joining import join, joining

    with opened(store, write=yes) as open_store:
        try:
            found = join(open_store, kept, other) if yes else joining(open_store, kept, other)
        except ValueError as error:
            fail(REFUSED, error)
    for sentence in joining_said(found):
        tell(sentence)
    tell(
        f"undo: foreaft part-clients {found.other.pseudonym} --yes"
        if yes
        else "run the command again with --yes to do it"
    )


@click.command("part-clients")
@click.argument("other")
@click.option("--yes", is_flag=True, help="Do it; without this, only say what OTHER is joined with.")
@a_store
def part_clients(other: str, yes: bool, store: Path | None) -> None:
    """Undo a join: OTHER, a pseudonym, is a client of its own again, with what was its own before.

    The daemon must not be running on the same store.
    """
    from daq.keep.clients import people
    from daq.keep.clients.join_words import parted_said
    from daq.keep.clients.joining import part

    with opened(store, write=yes) as open_store:
        try:
            if not yes:
                joined, known = people.exactly(open_store, other), people.client_called(open_store, other)
                if joined == known:
                    raise ValueError(f"{known.pseudonym} is not joined with another client")
                tell(f"{joined.pseudonym} is joined with {known.pseudonym}; run it again with --yes to part them")
                return
            done = part(open_store, other)
        except ValueError as error:
            fail(REFUSED, error)
    for sentence in parted_said(done):
        tell(sentence)
