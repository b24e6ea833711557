"""What joining or parting two records of a client does, in sentences for terminal and page."""

from __future__ import annotations

from daq.keep.clients.copies import UNREAD
from daq.keep.clients.joining import Joining, Parted
from daq.words import counted


def joining_said(found: Joining) -> tuple[str, ...]:
    """The same words before and after."""
    kept, other = found.kept.pseudonym, found.other.pseudonym
    sentences = [
        f"{kept} stays. {other} is no longer listed: {_counted(found.visits, found.sweeps)} go over to {kept}, and "
        f"{other} leads there wherever it is typed."
    ]
    if found.disputed:
        sentences.append(
            f"Agreed to under one of the two only, so not agreed to from now on: {', '.join(found.disputed)}. Ask the "
            "client, and note the answer."
        )
    sentences.append(
        "No date is agreed until which records are kept."
        if found.kept.keep_until is None
        else f"Records are kept until {found.kept.keep_until}, the earlier of the dates agreed."
    )
    sentences += [
        f"Exported before with {other} as the rider, and not changed: {copy.path}. Beside a new export its sweeps "
        "would count twice: export again, and put that one away."
        for copy in found.exports
        if not copy.unread
    ]
    sentences += [f"Of exports made from the backup {copy.path}, {UNREAD}." for copy in found.exports if copy.unread]
    return (*sentences, "What was recorded is not touched, and the two can be parted again.")


def parted_said(done: Parted) -> tuple[str, ...]:
    """What went back."""
    kept, other = done.kept.pseudonym, done.other.pseudonym
    return (
        f"{other} is listed again, with {_counted(done.visits, done.sweeps)} of its own.",
        f"What was ridden or written down since they were joined stays with {kept}. Consents and date of {kept} are as "
        "before, unless they were changed since.",
    )


def _counted(visits: int, sweeps: int) -> str:
    return f"{counted(visits, 'visit')} and {counted(sweeps, 'sweep')}"
