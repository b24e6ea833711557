"""`foreaft try`: a whole visit practised on a simulated rider, and told afterwards what the truth was."""

from __future__ import annotations

import random
import signal
import tempfile
from pathlib import Path

import click

from daq.cli.demo import KINDS
from daq.cli.telling import KEYBOARD, MISSING, REFUSED, fail, say, tell
from daq.sources import loop

SURPRISES: tuple[tuple[str, ...], ...] = (
    (),
    ("sliding",),
    ("fatigue-late",),
    ("lag",),
    ("scatter",),
    ("grip",),
    ("expectation", "habit"),
    ("frozen",),
)
"""What may be wrong when nobody asks for anything: a rider like any other as often as each of these."""


@click.command("try")
@click.option("--pace", default=3.0, show_default=True, type=click.FloatRange(0.5, 20), help="Times faster than life.")
@click.option("--kind", type=click.Choice(KINDS), help="How the rider's hands answer; without it you are not told.")
@click.option(
    "--with", "wrong", multiple=True, metavar="NAME[=SIZE]", help="What is wrong; see foreaft demo --with list."
)
@click.option("--nothing-wrong", is_flag=True, help="A rider and a jig without any trick.")
@click.option("--seed", type=click.IntRange(0), help="The same rider once more.")
@click.option("--port", default=8765, show_default=True, type=click.IntRange(0, 65535))
def try_(
    pace: float, kind: str | None, wrong: tuple[str, ...], nothing_wrong: bool, seed: int | None, port: int
) -> None:
    """Practise a whole visit on a SIMULATED rider: client, checks, plan, sweep, decision.

    About ten minutes; it ends when a setback is decided, and tells what the rider really was and where the procedure
    broke. All of it lies in a folder of its own that is gone afterwards; clients' records are not touched.
    """
    from daq.fit.practice import broken, truth_said
    from daq.keep.store import Store
    from daq.live import logs
    from daq.live.daemon import AddressTaken, listen, url_of
    from daq.live.practice import Practice

    logs.set_up("words")
    seed = random.SystemRandom().randrange(10_000) if seed is None else seed
    drawn = random.Random(seed)
    kind = kind or drawn.choice((*KINDS[:2], *KINDS))
    wrong = () if nothing_wrong else wrong or drawn.choice(SURPRISES)
    try:
        listener = listen("127.0.0.1", port)
    except AddressTaken as error:
        fail(MISSING, error)
    with tempfile.TemporaryDirectory(prefix="foreaft-try-") as folder:
        path = Path(folder) / "practice.sqlite"
        try:
            practice = Practice(Store.open(path), kind=kind, seed=seed, pace=pace, wrong=wrong)
        except ValueError as error:
            fail(REFUSED, error)
        tell(f"SIMULATED rider number {seed}, {pace:g} times faster than life; nothing of it is kept")
        tell("begin on the client screen with any name; decide a setback to end")
        tell(f"dashboard: {url_of(listener)}")
        ended_by = loop.run(practice.run(listener))
        with Store.open(path, write=False) as store:
            practised = practice.look_back(store)
    found = broken(practised)
    say("\n".join(truth_said(practised)))
    say("\n".join(f"- {one}" for one in found) if found else "the procedure held")
    raise SystemExit(KEYBOARD if ended_by is signal.SIGINT and practised.decided_mm is None else 0)
