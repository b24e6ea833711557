"""`foreaft doctor`: is everything there, and does it work."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING

import click

from daq.cli.stored import a_store, store_path
from daq.cli.telling import json_flag, print_json, say, tell
from daq.sources import loop
from daq.words import counted

if TYPE_CHECKING:
    from daq.live.checkup import PartState

CHECK_FAILED = 1


@click.command()
@click.option("--rig", "rig_file", type=click.Path(dir_okay=False, path_type=Path), help="Rig file of the jig.")
@a_store
@click.option("--seconds", default=5.0, show_default=True, type=click.FloatRange(1, 600), help="To watch the jig.")
@json_flag
def doctor(rig_file: Path | None, store: Path | None, seconds: float, as_json: bool) -> None:
    """Check ports, board, cells, setback scale, proof, Bluetooth, disk and clock. With --rig a jig with a board has to
    be empty and still.

    End the daemon first: a port serves one program at a time. Exit code 1 when a check failed. Copy the text when you
    ask somebody for help.
    """
    checks = loop.run(_look(rig_file, store_path(store), seconds))
    if as_json:
        from daq.keep.json_text import plain

        print_json([plain(dataclasses.asdict(check)) for check in checks])
    else:
        say("\n".join(lines_of(checks)))
    raise SystemExit(CHECK_FAILED if any(check.state == "failed" for check in checks) else 0)


async def _look(rig_file: Path | None, store: Path, seconds: float) -> list[PartState]:
    from daq.live import checkup
    from daq.live.bench.standing import utc_now
    from daq.live.real import read_rig
    from daq.rig_file import RigError
    from daq.sources.radio import Radio

    found = [checkup.check_disk(store), checkup.check_clock(store), *checkup.check_ports()]
    rig, calibration = None, None
    if rig_file is not None:
        try:
            _, rig, calibration = read_rig(rig_file)
        except RigError as error:
            found.append(checkup.PartState("rig file", checkup.FAILED, str(error)))
    needed = rig is not None and any((rig.power, rig.cadence, rig.heart))
    found.append(await checkup.check_bluetooth(Radio(), min(seconds, 5.0), needed=needed))
    if rig is not None and calibration is not None:
        found += [*checkup.check_sensors(rig), *checkup.check_proof(rig, calibration.id, utc_now())]
        if rig.typed is None:
            tell(f"looking at the jig for {seconds:g} s; leave it empty and still")
            found += await checkup.check_jig(rig, calibration, seconds)
    return found


def lines_of(checks: list[PartState]) -> list[str]:
    """The checks as text."""
    import platform

    import daq

    failed, cautions = (sum(check.state == state for check in checks) for state in ("failed", "caution"))
    lines = [f"foreaft {daq.__version__}, Python {platform.python_version()}, {platform.platform()}"]
    lines += [f"  {check.state:8s} {check.part:16s} {check.words}" for check in checks]
    return [*lines, f"{counted(len(checks), 'check')}: {failed} failed, {cautions} with a caution"]
