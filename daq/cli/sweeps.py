"""`foreaft sweeps`: what is in the store."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from daq.cli.stored import a_store, opened
from daq.cli.telling import json_flag, print_json, say, tell

if TYPE_CHECKING:
    from daq.keep.errors import StoreDamaged
    from daq.keep.store.sessions import ResultRecord, SessionRecord, SweepRecord


@click.command()
@a_store
@json_flag
def sweeps(store: Path | None, as_json: bool) -> None:
    """List the stored sweeps, when each began, their verdicts, and what is lost of their raw data."""
    damaged: list[StoreDamaged] = []
    with opened(store) as kept:
        sessions = {one.id: one for one in kept.sessions(damaged.append)}
        found = [
            (one, kept.results(one.id, "onset", damaged.append), kept.losses(one))
            for one in kept.sweeps(damaged.append)
        ]
    rows = [_row(sweep, sessions.get(sweep.session_id), results, losses) for sweep, results, losses in found]
    for one in damaged:
        tell(f"{one}; foreaft salvage brings what is readable into a new store")
    if as_json:
        print_json(rows)
    for row in [] if as_json else rows:
        say(_in_words(row))
    raise SystemExit(1 if damaged else 0)


def _in_words(row: dict[str, Any]) -> str:
    """One line; positions to a tenth of a millimetre, as everywhere."""
    from daq.sweep.losses import in_short

    low_high, lost = row["interval_95_mm"], "; ".join(in_short(row["lost"]))
    before = f" (the verdict was stored before; foreaft onset {row['sweep']} answers from what is left)"
    looked_for = row["purpose"] == "onset"
    unanswered = looked_for and row["state"] == "finished" and row["verdict"] is None
    said = {
        **row,
        "purpose": None if looked_for else row["purpose"],
        "verdict": f"not stored (foreaft onset {row['sweep']} computes it)" if unanswered else row["verdict"],
        "simulated": "yes" if row["simulated"] else None,
        "onset_mm": None if row["onset_mm"] is None else f"{row['onset_mm']:.1f}",
        "interval_95_mm": None if low_high is None else f"{low_high[0]:.1f} to {low_high[1]:.1f}",
        "lost": f"{lost}{before if row['verdict_from_before_loss'] else ''}" if lost else None,
        "verdict_from_before_loss": None,
    }
    return "  ".join(f"{name} {value}" for name, value in said.items() if value is not None)


def _row(
    sweep: SweepRecord, session: SessionRecord | None, results: list[ResultRecord], losses: list[str]
) -> dict[str, Any]:
    from daq.keep.store.sessions import at_utc
    from daq.sweep.losses import says_lost

    answer = results[-1].content if results else {}
    return {
        "sweep": sweep.id,
        "session": sweep.session_id,
        "begun_utc": None if session is None else at_utc(session, sweep.from_us),
        "simulated": None if session is None else session.simulated,
        "purpose": sweep.plan.get("purpose", "onset"),
        "state": sweep.state,
        "verdict": answer.get("verdict"),
        "onset_mm": answer.get("onset_mm"),
        "interval_95_mm": answer.get("interval_95_mm"),
        "lost": losses,
        "verdict_from_before_loss": bool(losses and answer) and not any(map(says_lost, answer.get("reasons", ()))),
    }
