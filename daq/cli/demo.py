"""`foreaft demo`: a whole sweep on a simulated rider and jig, over the real input paths."""

from __future__ import annotations

import signal
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from daq.cli.telling import KEYBOARD, MISSING, REFUSED, UNUSABLE, answer_lines, fail, print_json, say, step_line, tell
from daq.sources import loop

if TYPE_CHECKING:
    from daq.values import Onset

KINDS = ("hinge", "gentle-bend", "straight", "flat", "loaded")
"""From daq.rider.model; repeated here so that `--help` need not load it."""

MEASURES = {
    "full": ("hands", "saddle", "tilt"),
    "with-positions": ("hands", "saddle", "tilt", "positions"),
    "hands-and-saddle": ("hands", "saddle"),
    "hands": ("hands",),
}


@click.command()
@click.option("--headless", is_flag=True, help="No dashboard; ends by itself when the sweep is done.")
@click.option("--json", "as_json", is_flag=True, help="The answer as JSON, with the simulated truth beside it.")
@click.option(
    "--pace", default=7.0, show_default=True, type=click.FloatRange(0.5, 100), help="Times faster than real time."
)
@click.option("--seed", default=1, show_default=True, type=click.IntRange(0), help="Another rider's day.")
@click.option(
    "--kind",
    default=KINDS[0],
    show_default=True,
    type=click.Choice(KINDS),
    help="How the simulated rider's hand load answers to setback.",
)
@click.option(
    "--with",
    "wrong",
    multiple=True,
    metavar="NAME[=SIZE]",
    help="Something wrong with rider or jig; may be repeated; --with list names them all.",
)
@click.option(
    "--board",
    default="simulated",
    show_default=True,
    type=click.Choice(["simulated", "reference"]),
    help="reference: the machine code of the reference board, executed (firmware_notes/reference_board).",
)
@click.option(
    "--measures",
    default="full",
    show_default=True,
    type=click.Choice(list(MEASURES)),
    help="How much of the jig there is: all forces, where saddle and bar stand as well, or less.",
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
    wrong: tuple[str, ...],
    board: str,
    measures: str,
    by_hand: bool,
    port: int,
    record: Path | None,
    store: Path | None,
) -> None:
    """Ride an 11-step sweep with a SIMULATED rider on a SIMULATED jig, through a real pseudo-terminal.

    About a minute at the default pace. Without --headless the dashboard stays up afterwards, until Ctrl-C.

    --with sliding --with fatigue-late=20 gives the rider something that can pass for an onset, or hide one. The truth,
    and what was wrong, are shown beside the answer and stored in the recording.
    """
    if "list" in wrong:
        say("\n".join(listed()))
        return
    from daq.keep.errors import StoreError
    from daq.keep.store import Store
    from daq.live import logs
    from daq.live.daemon import AddressTaken, listen, url_of
    from daq.live.demo import Demo
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
                Store.open(path),
                kind=kind,
                wrong=wrong,
                seed=seed,
                pace=pace,
                record=record,
                on_output=show,
                reference=built,
                roles=MEASURES[measures],
            )
        except (ValueError, OSError, StoreError) as error:
            fail(REFUSED, error)
        board_said = f"; reference board: {built.said}" if built else ""
        wrongs = [f"wrong in the simulation: {each.sentence}" for each in running.wrong]
        tell("\n".join(["SIMULATED rider on a SIMULATED jig" + board_said, *wrongs]))
        if listener is not None:
            tell(f"dashboard: {url_of(listener)}")

        def told() -> None:
            _tell_answer(running.session.acquisition.ride.onset, running.truth_fields(), done, as_json=as_json)

        try:
            ended_by = loop.run(running.run(listener, by_hand=by_hand, when_done=told))
        except StoreError as error:
            fail(UNUSABLE, error)
    raise SystemExit(KEYBOARD if ended_by is signal.SIGINT else 0)


def _tell_answer(answer: Onset | None, truth: dict[str, Any], steps: int, *, as_json: bool) -> None:
    if as_json:
        from daq.sweep.contract import contract

        found = {"verdict": None} if answer is None else contract(answer)
        print_json({"simulated": True, **found, "truth": truth, "steps": steps})
    else:
        said = ["no answer: too few positions were ridden"] if answer is None else answer_lines(answer)
        say("\n".join([*said, truth_line(truth)]))


def listed() -> list[str]:
    """Every name --with accepts, in its usual size."""
    from daq.rider.named import NAMED, Asked

    return [
        f"{named.name + (f'={named.usual:g}' if named.has_size else ''):<24}{Asked(named, named.usual).sentence}"
        for named in NAMED
    ]


def truth_line(truth: dict[str, Any]) -> str:
    """The simulated truth, in one line."""
    rider = "; ".join([f"{truth['kind']} rider", *(each["what"] for each in truth["confounds"])])
    if truth["onset_mm"] is None:
        return f"truth of the simulation: this rider has no onset ({rider})"
    return f"truth of the simulation: onset at {truth['onset_mm']:.1f} mm ({rider})"
