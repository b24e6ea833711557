"""`foreaft calibrate bench` and `check`: an engineer at the jig, step by step."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from daq.cli.bench_talk import Typed, check_folder, ended, hello_of, judged, walk
from daq.cli.stored import a_store, store_path
from daq.cli.telling import KEYBOARD, MISSING, REFUSED, UNUSABLE, fail, json_flag, print_json, say, tell
from daq.refusals import plainly
from daq.sources import loop

if TYPE_CHECKING:
    from daq.live.bench.wanted import Gravity, Reference, Wanted
    from daq.live.session.session import Session
    from daq.live.simulated_bench import SimulatedBench

T = TypeVar("T")
RIG = click.option("--rig", "rig_file", type=click.Path(dir_okay=False, path_type=Path), help="Rig file, TOML.")
SIMULATED = click.option("--simulated", is_flag=True, help="Simulated cells and weights, to try it out. No --rig then.")
PACE = click.option(
    "--pace", default=1.0, show_default=True, type=click.FloatRange(0.5, 100), help="With --simulated: times faster."
)
WEIGHTS = [
    click.option(
        "--class", "weights_class", type=click.Choice(["E2", "F1", "F2", "M1", "M2", "M3"]), help="OIML R111."
    ),
    click.option("--certificate", default="", help="Certificate of weights or reference cell."),
    click.option("--expanded", type=float, help="Its expanded uncertainty (k = 2) over the mass or force."),
    click.option("--g", "g_m_s2", type=float, help="Local gravity, m/s2."),
    click.option("--u-g", "u_g_m_s2", type=float, help="Its standard uncertainty, m/s2."),
    click.option("--latitude", "latitude_deg", type=float, help="Gravity from latitude, degrees (WGS84), ..."),
    click.option("--height", "height_m", default=0.0, help="... and height, m."),
]

NO_TEMPERATURE = (
    "room temperature: not stated, and the certificate will say so; nobody can tell later how far from it the jig is "
    "used. To state it, leave with q and begin again with --temperature"
)


def weights(command: Callable[..., Any]) -> Callable[..., Any]:
    """The options that say how well a weight is known."""
    for option in reversed(WEIGHTS):
        command = option(command)
    return command


@click.command()
@RIG
@a_store
@SIMULATED
@PACE
@click.option("--by", "made_by", help="Who calibrates.")
@click.option("--place", default="", help="Where.")
@click.option("--temperature", "temperature_degc", type=float, help="Room temperature, degrees C.")
@click.option("--remarks", default="")
@click.option("--kg", "masses", help="Masses on each cell, lightest first: 5,10,20,30,40.")
@click.option("--newtons", help="Instead of --kg: forces measured by a reference cell.")
@click.option("--cell", "cells", multiple=True, help="A cell to calibrate; default: all load cells.")
@weights
@click.option("--series", default=3, show_default=True, help="Times up and down.")
@click.option("--order", default="2", show_default=True, type=click.Choice(["1", "2"]), help="Line or quadratic.")
@click.option("--read-s", default=5.0, show_default=True, help="Seconds per reading.")
@click.option("--warm-up", "warm_up_min", default=15.0, show_default=True, help="Minutes.")
@click.option("--on-for", "on_for_min", default=0.0, help="Minutes the power has been on already.")
@click.option("--creep", "creep_min", default=30.0, show_default=True, help="Minutes of creep test; 0: none.")
@click.option("--cross-talk-kg", "crosstalk_kg", default=0.0, help="Mass put on each cell in turn; 0: none.")
@click.option("--off-axis", "places", multiple=True, help='"left edge of the saddle:saddle_nose,saddle_rear:20"')
@click.option("--tilts", help="Tilts of the empty jig in degrees, up and down: 0,2,4,2,0.")
@click.option("--level", "known_tilts", is_flag=True, help="The tilts are set with a level: calibrate the tilt too.")
@click.option("--expected-per-n", "expected", multiple=True, help="Counts per newton by data sheet: hands_left=8550.")
@click.option("--within-k", default=5.0, show_default=True, help="The jig is used within this many kelvin of now.")
@click.option("--per-k", type=float, help="Temperature effect on sensitivity by data sheet, a share per kelvin: 2e-5.")
@click.option("--resume", is_flag=True, help="Resume the unfinished calibration.")
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for the calibration's file; default: the rig file's.",
)
@click.option("--page", is_flag=True, help="Work on the dashboard's bench instead of here, until Ctrl-C.")
@click.option("--port", default=8765, show_default=True, type=click.IntRange(0, 65535), help="Of the dashboard.")
@click.option("--seed", default=1, type=click.IntRange(0), help="With --simulated: other cells.")
@json_flag
def bench(
    rig_file: Path | None,
    store: Path | None,
    simulated: bool,
    pace: float,
    resume: bool,
    out: Path | None,
    page: bool,
    port: int,
    seed: int,
    as_json: bool,
    **words: Any,
) -> None:
    """Calibrate the cells of a jig, guided: warm-up, zero, weights up and down, creep, off-axis, cross-talk, tilts.

    Every reading is judged before it is accepted, and can be repeated. Leave with q; --resume continues. The result is
    stored for ever, with its certificate, and written as a file for the rig file to name.
    """
    if simulated == (rig_file is not None):
        fail(REFUSED, "expected either --rig with the jig to calibrate, or --simulated")
    folder = out or (rig_file.parent if rig_file else None)
    if folder is not None:
        check_folder(folder)
    wanted = None if resume or page else _wanted(words)
    on_for_min = words["on_for_min"]

    async def work(session: Session, hands: SimulatedBench | None) -> int:
        await hello_of(session)
        desk = session.calibrating
        if page:
            await asyncio.Event().wait()
        if wanted is None:
            await desk.take_up_bench(on_for_min=on_for_min)
        else:
            if wanted.temperature_degc is None:
                tell(NO_TEMPERATURE)
            await desk.begin_bench(wanted)
        return await walk(session, Typed(), hands=hands)

    def finish(session: Session) -> None:
        ended(session, folder, as_json=as_json)

    _run(rig_file, store, pace, seed, work, finish, port=port if page else None)


@click.command()
@RIG
@a_store
@click.option("--on", required=True, help="hands, saddle, or the name of a cell.")
@click.option("--kg", "mass_kg", required=True, type=click.FloatRange(0.1, 500), help="The weight.")
@weights
@json_flag
def check(rig_file: Path | None, store: Path | None, on: str, mass_kg: float, as_json: bool, **words: Any) -> None:
    """Check the sensitivity with one known weight, before each day's work.

    Zeroes the empty jig, then reads the weight. Exit code 1 if the reading is off; that is stored too, and no verdict
    is given until a check passes.
    """
    from daq.measure.calibration.weights import pull_n

    if rig_file is None:
        fail(REFUSED, "expected --rig with the jig to check")
    made = []
    reference, gravity = _reference(words), _gravity(words)

    async def work(session: Session, _: SimulatedBench | None) -> int:
        await hello_of(session)
        g_m_s2, u_g_m_s2 = gravity.value(session.acquisition.rig)
        made.append(
            await judged(
                session,
                Typed(),
                on=on,
                load_n=pull_n(mass_kg, g_m_s2),
                weights=reference.weights(),
                u_gravity_relative=u_g_m_s2 / g_m_s2,
            )
        )
        return 0 if made[0].passed else 1

    def finish(_: Session) -> None:
        if made and as_json:
            from daq.keep.json_text import plain

            print_json({**plain(made[0]), "passed": made[0].passed, "sentence": made[0].sentence})
        elif made:
            say(made[0].sentence)

    _run(rig_file, store, 1.0, 0, work, finish)


def _run(
    rig_file: Path | None,
    store: Path | None,
    pace: float,
    seed: int,
    work: Callable[[Session, SimulatedBench | None], Coroutine[Any, Any, int]],
    finish: Callable[[Session], None],
    *,
    port: int | None = None,
) -> None:
    """A session on the rig file's board, or on simulated cells, for the duration of some work."""
    from daq.keep.errors import StoreError
    from daq.keep.store import Store
    from daq.live.daemon import AddressTaken, listen, serve, url_of
    from daq.live.real import on_rig
    from daq.live.simulated_bench import SimulatedBench
    from daq.refusals import NotNow
    from daq.rig_file import RigError

    path = store_path(store)
    code = [MISSING]
    try:
        listener = None if port is None else listen("127.0.0.1", port)
        with contextlib.ExitStack() as stack:
            path.parent.mkdir(parents=True, exist_ok=True)
            opened = stack.enter_context(Store.open(path))

            async def all_of_it() -> Session:
                hands = None
                if rig_file is None:
                    hands = SimulatedBench(opened, seed=seed, pace=pace)
                    session, links = hands.session, hands.links
                else:
                    session, links = on_rig(rig_file, opened)

                async def until() -> None:
                    code[0] = await work(session, hands)

                if listener is not None:
                    tell(f"dashboard: {url_of(listener)}#bench")
                if await serve(session, links, listener=listener, until=until()) is not None:
                    code[0] = KEYBOARD
                return session

            finish(loop.run(all_of_it()))
    except RigError as error:
        fail(REFUSED, error)
    except StoreError as error:
        fail(UNUSABLE, error)
    except (AddressTaken, TimeoutError, ConnectionError) as error:
        fail(MISSING, error)
    except (ValueError, NotNow) as error:
        fail(REFUSED, error)
    raise SystemExit(code[0])


def _wanted(words: dict[str, Any]) -> Wanted:
    """The command's options as a specification for the bench."""
    from daq.live.bench.wanted import Wanted

    if not words["made_by"]:
        fail(REFUSED, "--by: expected who calibrates; a certificate names its maker")
    if bool(words["masses"]) == bool(words["newtons"]):
        fail(REFUSED, "--kg: expected the masses that are hung on each cell, or else --newtons with a reference cell's")
    plain = ("made_by", "place", "temperature_degc", "remarks", "series", "read_s", "warm_up_min", "on_for_min")
    return _checked(
        Wanted,
        **{name: words[name] for name in (*plain, "creep_min", "crosstalk_kg", "known_tilts", "cells")},
        order=int(words["order"]),
        temperature_half_range_k=words["within_k"],
        **({} if words["per_k"] is None else {"sensitivity_per_k": words["per_k"]}),
        masses_kg=_numbers("--kg", words["masses"]),
        loads_n=_numbers("--newtons", words["newtons"]),
        tilts_deg=_numbers("--tilts", words["tilts"]),
        reference=_reference(words),
        gravity=_gravity(words),
        places=[_place(text) for text in words["places"]],
        expected_per_n=dict(_expected(text) for text in words["expected"]),
    )


def _checked(made: type[T], **fields: Any) -> T:
    """The fields, validated together; a refusal names each wrong one."""
    from pydantic import ValidationError

    try:
        return made(**fields)
    except ValidationError as error:
        options = {param.name: param.opts[0] for param in click.get_current_context().command.params}
        options |= {"masses_kg": "--kg", "loads_n": "--newtons", "tilts_deg": "--tilts", "places": "--off-axis"}
        said = []
        for one in error.errors():
            name, *within = map(str, one["loc"])
            said.append(f"{'.'.join((options.get(name, name), *within))}: {plainly(one)}, got {one['input']!r}")
        fail(REFUSED, "; ".join(said))


def _reference(words: dict[str, Any]) -> Reference:
    from daq.live.bench.wanted import Reference

    names = {"weights_class": "weights_class", "certificate": "certificate", "expanded": "expanded_relative"}
    return _checked(Reference, **{field: words[option] for option, field in names.items()})


def _gravity(words: dict[str, Any]) -> Gravity:
    from daq.live.bench.wanted import Gravity

    return _checked(Gravity, **{name: words[name] for name in ("g_m_s2", "u_g_m_s2", "latitude_deg", "height_m")})


def _numbers(option: str, text: str | None) -> tuple[float, ...]:
    try:
        return tuple(float(part) for part in text.split(",")) if text else ()
    except ValueError:
        fail(REFUSED, f"{option}: expected numbers with commas between them, got {text!r}")


def _place(text: str) -> dict[str, Any]:
    parts = text.rsplit(":", 2)
    if len(parts) != 3:
        fail(REFUSED, f'--off-axis: expected "name of the place:cell,cell:kg", got {text!r}')
    return {"name": parts[0], "cells": parts[1].split(","), "mass_kg": parts[2]}


def _expected(text: str) -> tuple[str, float]:
    cell, _, per_n = text.partition("=")
    if not per_n:
        fail(REFUSED, f"--expected-per-n: expected cell=counts, got {text!r}")
    return cell, _numbers("--expected-per-n", per_n)[0]
