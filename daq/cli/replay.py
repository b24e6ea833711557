"""`foreaft replay`: a recorded sweep through the same pipeline again."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from daq.cli.telling import REFUSED, answer_lines, fail, print_json, say, step_line, tell


@click.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option(
    "--rig",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Rig file, with the calibration it names, for a recording whose header is lost.",
)
@click.option("--json", "as_json", is_flag=True, help="The answer as JSON.")
def replay(file: Path, rig: Path | None, as_json: bool) -> None:
    """Recompute a recorded sweep from its raw bytes, to the same onset, bit for bit."""
    given = None if rig is None else _header_of(rig)
    from daq.items import Event
    from daq.keep.again.replay import replayed
    from daq.keep.recording import read_recording
    from daq.keep.recording_blocks import BadRecording
    from daq.sweep.contract import contract, in_contract
    from daq.values import Onset, StepMean

    try:
        recording = read_recording(file, given)
        unused = given is not None and recording.header is not given
        for problem in [*recording.problems, *["its own header can be read, so that --rig is not used"] * unused]:
            tell(f"{file}: {problem}")
        answer, steps = None, []
        told = [item.content for item in recording.items() if isinstance(item, Event) and item.kind == "answer"]
        planned = _planned(recording.header.get("plan"))
        for output in replayed(recording):
            if isinstance(output, StepMean):
                steps.append(output)
                tell(step_line(output, len(steps), planned))
            elif isinstance(output, Onset):
                answer = output
    except BadRecording as error:
        fail(REFUSED, error)
    except OSError as error:
        fail(REFUSED, f"{file}: {error.strerror}")
    header = recording.header
    if as_json:
        print_json(
            {
                "simulated": header.get("simulated"),
                "onset": None if answer is None else contract(answer),
                "recorded_onset": in_contract(told[-1]) if told else None,
                "truth": header.get("truth"),
                "steps": len(steps),
            }
        )
    elif answer is None:
        say("no answer: fewer than five positions were finished")
    else:
        say("\n".join(answer_lines(answer)))
    if not as_json and (truth := simulated_truth(header)):
        say(truth)


def _header_of(rig_file: Path) -> Mapping[str, Any]:
    """What a recording's header has of its rig and calibration, from the rig file."""
    from daq.live.real import read_rig
    from daq.measure.calibration import to_dict
    from daq.rig_file import RigError

    try:
        text, _, calibration = read_rig(rig_file)
    except RigError as error:
        fail(REFUSED, error)
    return {"rig": text, "calibration": to_dict(calibration)}


def simulated_truth(header: Mapping[str, Any]) -> str:
    """What the simulation knows of its rider; empty for a real one, or where the maker gave something else."""
    from daq.cli.demo import truth_line

    if header.get("simulated") is None:
        return "the header is lost, and with it whether this was simulated"
    if not header["simulated"]:
        return ""
    try:
        return "SIMULATED; " + truth_line({"confounds": [], **header["truth"]})
    except (KeyError, TypeError, ValueError):
        return "SIMULATED; its truth was not recorded, or not as this program does"


def _planned(plan: Any) -> int:
    """The number of steps in the header's plan; 0 without a plan."""
    positions = plan.get("positions_mm") if isinstance(plan, dict) else None
    return len(positions) if isinstance(positions, list) else 0
