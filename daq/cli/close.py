"""`foreaft close`: ends sweeps that were cut off."""

from __future__ import annotations

from pathlib import Path

import click

from daq.cli.stored import a_store, opened
from daq.cli.telling import REFUSED, answer_lines, fail, say
from daq.words import counted


@click.command()
@click.argument("sweeps", nargs=-1, type=click.IntRange(1))
@click.option("--all", "everything", is_flag=True, help="Every sweep that was cut off.")
@a_store
def close(sweeps: tuple[int, ...], everything: bool, store: Path | None) -> None:
    """End SWEEPS that were cut off, by a kill or a power cut, with the answer from what was ridden.

    It does not matter how long ago that was. A closed sweep can no longer be resumed. The daemon must not be running on
    the same store.
    """
    from daq.keep.again import cut_off

    with opened(store, write=True) as open_store:
        still_open = [one.sweep.id for one in cut_off.cut_off(open_store)]
        if not everything and not sweeps:
            named = ", ".join(map(str, still_open)) or "none"
            fail(REFUSED, f"no sweep to close; give their numbers, or --all. Cut off and not closed: {named}")
        for number in sweeps:
            if number not in still_open:
                fail(REFUSED, f"sweep {number} has ended as {open_store.sweep(number).state}; nothing is changed")
        for number in still_open if everything else sweeps:
            found = cut_off.close(open_store, number)
            steps = 0 if found is None else len(found.steps)
            say(f"sweep {number}: {open_store.sweep(number).state}, {counted(steps, 'position')} finished")
            if found is not None and found.onset is not None:
                say("\n".join(answer_lines(found.onset)))
