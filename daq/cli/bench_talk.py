"""The conversation at the bench: what to do next, the live reading, what was found, and the engineer's answer."""

from __future__ import annotations

import asyncio
import json
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryFile
from typing import TYPE_CHECKING, Any

from daq.cli.telling import REFUSED, fail, overwrite, print_json, say, tell
from daq.refusals import NotNow
from daq.words import counted

if TYPE_CHECKING:
    from daq.live.bench.desk import BenchDesk
    from daq.live.session.session import Session
    from daq.live.simulated_bench import SimulatedBench
    from daq.measure.calibration.status import SensitivityCheck

HELLO_WITHIN_S = 15.0
LOOK_S = 0.02
SHOW_S = 0.25
WORDS = (
    "Enter reads; a accepts a reading against what was found; r reads the last one again (r TASK another one); "
    "series CELL N a whole series; s leaves the rest of this stage out; stop ends it for good; q leaves, and --resume "
    "goes on"
)


class Typed:
    """Lines of standard input, one at a time, without holding up the acquisition."""

    def __init__(self) -> None:
        self._lines: asyncio.Queue[str | None] = asyncio.Queue()
        self._loop = asyncio.get_running_loop()
        threading.Thread(target=self._read, args=(sys.stdin,), daemon=True).start()

    async def line(self, while_waiting: Callable[[], None] = lambda: None) -> str | None:
        """The next line; None at the end of the input."""
        while True:
            try:
                return await asyncio.wait_for(self._lines.get(), SHOW_S)
            except TimeoutError:
                while_waiting()

    def _read(self, lines: Any) -> None:
        for line in lines:
            self._loop.call_soon_threadsafe(self._lines.put_nowait, line.strip())
        self._loop.call_soon_threadsafe(self._lines.put_nowait, None)


async def hello_of(session: Session) -> None:
    """Wait for the board. TimeoutError that says what is wrong with its link."""
    for _ in range(round(HELLO_WITHIN_S / LOOK_S)):
        if session.acquisition.sensors.greeting is not None and session.acquisition.pipeline.channels:
            return
        await asyncio.sleep(LOOK_S)
    from daq.items import BOARD

    name = session.acquisition.rig.loads_from
    silent = (
        "it has not said hello; is it a board that speaks the wire protocol?" if name == BOARD else "it sends nothing"
    )
    raise TimeoutError(f"no {name}: {session.acquisition.sensors.links[BOARD]() or silent}")


async def walk(session: Session, typed: Typed, *, hands: SimulatedBench | None) -> int:
    """Go through the readings until none is due or the engineer leaves; returns the exit code."""
    desk = session.calibrating.under_way()
    tell(WORDS)
    while True:
        if desk.bench.task is None and not desk.problem:
            return 0
        _tell(desk)
        line = await typed.line(lambda: _live(desk))
        if line in (None, "q"):
            tell(f"left at {desk.fields()['done']} of {counted(desk.fields()['planned'], 'reading')}; --resume goes on")
            return 0
        try:
            await _done(desk, line or "", hands)
        except (NotNow, ValueError) as error:
            tell(f"  not now: {error}")


def _tell(desk: BenchDesk) -> None:
    """Say what to do next, or what is wrong with what was done."""
    fields = desk.fields()
    if desk.problem:
        named = "read again what is named (r TASK, series CELL N), or q"
        tell(f"{desk.problem}\n  {named if desk.bench.task is None else 'Enter reads again'}")
    elif desk.pending:
        for finding in desk.pending:
            tell(f"  ! {finding.sentence}")
        tell("  Enter reads again" + ("; a accepts it all the same" if "accept" in fields["accepts"] else ""))
    elif fields["task"] is not None:
        tell(f"[{fields['done'] + 1}/{fields['planned']}] {fields['task']['id']}: {fields['instruction']}")


async def _done(desk: BenchDesk, line: str, hands: SimulatedBench | None) -> None:
    """Do what the engineer said. ValueError if it does not fit."""
    word, *rest = line.split()[:3] or [""]
    before = len(desk.bench.taken)
    match word, rest:
        case "", _:
            if hands is not None and desk.bench.task is not None:
                await hands.arrived()
            desk.read()
            await _until_over(desk, before)
        case "a", _:
            await desk.accept()
            await _until_over(desk, before)
        case "r", []:
            await desk.redo_last()
        case "r", [task]:
            await desk.redo(task)
        case "series", [cell, number] if number.isdecimal():
            await desk.redo_series(cell, int(number))
        case "s", _:
            await desk.skip()
        case "stop", _:
            await desk.stop()
        case "hang", [cell, load_n] if hands is not None:
            hands.hang({cell: float(load_n)})
        case _:
            raise ValueError(f"expected one of these, got {line!r}: {WORDS}")


async def _until_over(desk: BenchDesk, before: int) -> None:
    """Show the reading while it runs, then what was accepted since."""
    since = 0.0
    while (reading := desk.fields()["reading"]) is not None:
        await asyncio.sleep(LOOK_S)
        since += LOOK_S
        if since >= SHOW_S:
            since = 0.0
            overwrite(f"  {reading['seconds']:6.1f} of {reading['of_s']:.0f} s   {_loads(desk)}")
    for taken in desk.bench.taken[before:]:
        cells = zip(desk.bench.plan.channels, taken.counts, taken.sd_counts, strict=True)
        shown = "  ".join(f"{name} {counts:.1f} ±{sd:.0f}" for name, counts, sd in cells)
        tell(f"  taken: {shown}")


def _live(desk: BenchDesk) -> None:
    overwrite(f"  now {_loads(desk)}")


def _loads(desk: BenchDesk) -> str:
    return "  ".join(
        f"{one['cell']} {one['counts']:.0f}" + ("" if one["load_n"] is None else f" ({one['load_n']:.2f} N)")
        for one in desk.live()
    )


def ended(session: Session, folder: Path | None, *, as_json: bool) -> None:
    """Print the result, and write the calibration for the rig file to name; without a folder it is only stored."""
    from daq.measure.calibration import to_dict

    bench = session.calibrating.bench
    if bench is None or bench.calibration is None:
        return
    calibration = bench.calibration
    tell(
        f"calibration {calibration.id} is kept; certificate: foreaft calibrate certificate {calibration.id} --html FILE"
    )
    content = json.dumps(to_dict(calibration), indent=1) + "\n"
    if folder is not None:
        file = write_new(folder / f"calibration-{calibration.id}.json", content)
        tell(f'written to {file}; the rig file names it as: calibration = "{file.name}"')
    if as_json:
        print_json(to_dict(calibration))
    else:
        say(calibration.id)


def check_folder(folder: Path) -> None:
    """Refuse a folder that cannot be written to, before hours of readings end there."""
    try:
        with TemporaryFile(dir=folder):
            pass
    except OSError as error:
        fail(REFUSED, f"cannot write the calibration to {folder}: {error.strerror}; name a folder that is there: --out")


def write_new(path: Path, text: str) -> Path:
    """Write a new file; an existing one is never overwritten."""
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        fail(REFUSED, f"{path} is there already, and a calibration is never overwritten: name another folder or file")
    except OSError as error:
        fail(REFUSED, f"cannot write {path}: {error.strerror}")
    return path


async def judged(session: Session, typed: Typed, *, on: str, **weight: Any) -> SensitivityCheck:
    """The daily check: zero, then the weight."""
    tell("take everything off the jig and leave it, then press Enter")
    await typed.line()
    await asyncio.sleep(_SETTLE_S)
    await session.zero.take()
    tell(f"put {weight['load_n']:.2f} N on {on}, let it hang still, then press Enter")
    await typed.line()
    await asyncio.sleep(_SETTLE_S)
    return await session.calibrating.check(on=on, **weight)


_SETTLE_S = 2.2
"""The mean is over the last two seconds; all of them have to come after the key press."""
