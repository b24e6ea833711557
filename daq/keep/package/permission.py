"""What may leave the store: with the client's consent, and without the client's name."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from functools import partial
from typing import Literal

from daq.keep.clients import people
from daq.keep.errors import StoreDamaged, StoreError
from daq.keep.package.tables import TEXTS, Table
from daq.keep.package.typed_text import channel_typed, typed
from daq.keep.store import Store
from daq.keep.store.lock import is_held
from daq.keep.store.sessions import SweepRecord, at_utc

Purpose = Literal["research", "client"]
"""Research needs the client's consent and leaves free text out; client is the client's own copy."""


class ExportRefused(StoreError):
    """The sweeps may not leave the store; the text says which and why."""


LeftOut = ExportRefused | StoreDamaged


def exportable(store: Store, purpose: Purpose) -> tuple[list[int], list[LeftOut]]:
    """The finished sweeps that may leave the store for this purpose, and why each of the others does not."""
    left_out: list[LeftOut] = []
    sweeps = store.sweeps(damaged=left_out.append)

    def refuse(sweep: SweepRecord) -> None:
        refuse_while_ridden(store, sweep)
        if sweep.to_us is None:
            raise ExportRefused(f"sweep {sweep.id} was cut off; name it by its number to export what there is")
        refuse_unless_agreed(store, sweep, purpose)

    return _told_apart([(one.id, partial(refuse, one)) for one in sweeps], left_out)


def permitted(store: Store, sweep_ids: Iterable[int], purpose: Purpose) -> tuple[list[int], list[LeftOut]]:
    """Those of these sweeps that may leave the store for this purpose, and why each of the others does not. NotThere
    for a number that no sweep has."""

    def refuse(sweep_id: int) -> None:
        sweep = store.sweep(sweep_id)
        refuse_while_ridden(store, sweep)
        refuse_unless_agreed(store, sweep, purpose)

    return _told_apart([(one, partial(refuse, one)) for one in dict.fromkeys(sweep_ids)], [])


def _told_apart(
    asked: Iterable[tuple[int, Callable[[], None]]], left_out: list[LeftOut]
) -> tuple[list[int], list[LeftOut]]:
    ids = []
    for sweep_id, refuse in asked:
        try:
            refuse()
            ids.append(sweep_id)
        except (ExportRefused, StoreDamaged) as error:
            left_out.append(error)
    return ids, left_out


def refuse_while_ridden(store: Store, sweep: SweepRecord) -> None:
    """Raises ExportRefused while a daemon records the sweep: half of it would be exported, and stay so."""
    if sweep.to_us is None and _is_newest(store, sweep) and is_held(store.path):
        raise ExportRefused(f"sweep {sweep.id} is being ridden: export it when it has ended")


def _is_newest(store: Store, sweep: SweepRecord) -> bool:
    """Of the session that is stored now, which is the last one of those without an end: any other sweep without an end
    was cut off. A sweep that was resumed is in an older session than one begun meanwhile."""
    newest = max(one.id for one in store.sweeps(damaged=lambda _: None))
    unended = [one for one in store.sessions(damaged=lambda _: None) if one.ended_us is None]
    last = max(((at_utc(one, store.last_us(one.id)), one.id) for one in unended), default=None)
    return sweep.id == newest and last is not None and last[1] == sweep.session_id


def refuse_unless_agreed(store: Store, sweep: SweepRecord, purpose: Purpose) -> None:
    """Raises ExportRefused if the client has not agreed to this purpose."""
    if purpose == "client" or store.session(sweep.session_id).simulated:
        return
    if sweep.client_id is None:
        raise ExportRefused(f"sweep {sweep.id} belongs to no client, so nobody has agreed to its use in research")
    if not people.consents(store, sweep.client_id)["research"]:
        pseudonym = people.client(store, sweep.client_id).pseudonym
        raise ExportRefused(f"{pseudonym} (sweep {sweep.id}) has not agreed to the use of records in research")


def refuse_names(store: Store, sweep: SweepRecord, tables: list[Table]) -> None:
    """Raises ExportRefused if the client's name, whole or one of its words, is in any text that a person may have
    typed. A part of the name counts only as a whole word: Max is not named by "maximum", nor Lin by "linear".
    """
    named = _naming(store, sweep)
    if named is None:
        return
    for table in tables:
        for field, column in zip(table.fields, table.columns, strict=True):
            if field.type not in TEXTS:
                continue
            for text in {found for cell in set(column) if cell is not None for found in typed(field, cell)}:
                if named.search(text.casefold()):
                    raise _refused(sweep, f"{table.name}.{field.name}")


def refuse_named_channels(store: Store, sweep: SweepRecord, channels: Iterable[str]) -> None:
    """Raises ExportRefused if the client's name is in the name of a channel, as refuse_names has it."""
    named = _naming(store, sweep)
    for channel in channels:
        if named is not None and named.search(channel_typed(channel).casefold()):
            raise _refused(sweep, f"the channel {channel}")


def _naming(store: Store, sweep: SweepRecord) -> re.Pattern[str] | None:
    """What finds the client's name in a text without capitals; None if there is none to find."""
    names = [] if sweep.client_id is None else people.names_of(store, sweep.client_id)
    patterns = [pattern for name in names for pattern in _named(name)]
    return re.compile("|".join(patterns)) if patterns else None


def _refused(sweep: SweepRecord, where: str) -> ExportRefused:
    return ExportRefused(
        f"sweep {sweep.id}: a part of the client's name stands in {where}: take it out there, or export for the client"
    )


def _named(name: str) -> list[str]:
    words = [re.escape(word) for word in re.findall(r"[^\W_]+", name.casefold())]
    parts = [rf"\b{word}\b" for word in words if len(word) > 2 or len(words) == 1]
    return [*parts, r"[\W_]*".join(words)] if len(words) > 1 else parts
