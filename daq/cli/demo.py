"""`foreaft demo`: a whole sweep on a simulated rider and jig, over the real input paths."""

from __future__ import annotations

import signal
import tempfile
from pathlib import Path

import click
import uvloop

from daq.cli.telling import KEYBOARD, MISSING, REFUSED, UNUSABLE, answer_lines, fail, print_json, step_line, tell

KINDS = ("hinge", "gentle-bend", "straight", "flat", "loaded")
"""Of daq.rider.model; written here again so that `--help` need not load it."""


@click.command()
@click.option("--headless", is_flag=True, help="No dashboard; ends by itself when the sweep is done.")
@click.option("--json", "as_json", is_flag=True, help="The answer as JSON, with the simulated truth beside it.")
@click.option("--pace", default=7.0, show_default=True, type=click.FloatRange(0.5, 100), help="Times faster than life.")
@click.option("--seed", default=1, show_default=True, type=click.IntRange(0), help="Another rider's day.")
@click.option(
    "--kind",
    default=KINDS[0],
    show_default=True,
    type=click.Choice(KINDS),
    help="How the simulated rider's hand load answers to setback.",
)
@click.option(
    "--board",
    default="simulated",
    show_default=True,
    type=click.Choice(["simulated", "reference"]),
    help="reference: the machine code of the reference board, executed (firmware_notes/reference_board).",
)
@click.option("--by-hand", is_flag=True, help="You are the fitter: use the dashboard to begin and to move the saddle.")
@click.option("--port", default=8765, show_default=True, type=click.IntRange(0, 65535))
@click.option("--record", type=click.Path(path_type=Path), help="Also write a recording to this new file.")
@click.option("--store", type=click.Path(dir_okay=False, path_type=Path), help="Keep the demo's store at this path.")
def demo(
    headless: bool,
    as_json: bool,
    pace: float,
    seed: int,
    kind: str,
    board: str,
    by_hand: bool,
    port: int,
    record: Path | None,
    store: Path | None,
) -> None:
    """Ride an 11-step sweep with a SIMULATED rider on a SIMULATED jig, through a real pseudo-terminal.

    About a minute at the default pace. Without --headless the dashboard stays up afterwards, until Ctrl-C.
    """
    from daq.keep.errors import StoreError
    from daq.keep.store import Store
    from daq.live import logs
    from daq.live.daemon import AddressTaken, listen, url_of
    from daq.live.demo import Demo, truth_fields
    from daq.live.telling.messages import plain
    from daq.sources.reference_bench import CannotBuild, build
    from daq.values import StepMean

    logs.set_up("words")
    done = 0

    def show(output: object) -> None:
        nonlocal done
        if isinstance(output, StepMean):
            done += 1
            tell(step_line(output, done, len(running.plan.positions_mm)))

    try:
        listener = None if headless else listen("127.0.0.1", port)
    except AddressTaken as error:
        fail(MISSING, error)
    with tempfile.TemporaryDirectory(prefix="foreaft-demo-") as folder:
        path = store or Path(folder) / "demo.sqlite"
        try:
            built = build(Path(folder) / "board") if board == "reference" else None
        except CannotBuild as error:
            fail(MISSING, error)
        try:
            running = Demo(
                Store.open(path), kind=kind, seed=seed, pace=pace, record=record, on_output=show, reference=built
            )
        except (ValueError, OSError, StoreError) as error:
            fail(REFUSED, error)
        tell("SIMULATED rider on a SIMULATED jig" + (f"; reference board: {built.said}" if built else ""))
        if listener is not None:
            tell(f"dashboard: {url_of(listener)}")

        def told() -> None:
            answer = running.session.onset
            truth = truth_fields(running.truth())
            if as_json:
                print_json({"simulated": True, **plain(answer), "truth": truth, "steps": done})
            elif answer is not None:
                click.echo("\n".join([*answer_lines(answer), truth_line(truth)]))

        try:
            ended_by = uvloop.run(running.run(listener, by_hand=by_hand, when_done=told))
        except StoreError as error:
            fail(UNUSABLE, error)
    raise SystemExit(KEYBOARD if ended_by is signal.SIGINT else 0)


def truth_line(truth: dict[str, object]) -> str:
    """The truth of the simulation in one line."""
    if truth["onset_mm"] is None:
        return f"truth of the simulation: no onset ({truth['kind']} rider)"
    return f"truth of the simulation: onset at {truth['onset_mm']:.1f} mm ({truth['kind']} rider)"
