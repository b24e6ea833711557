"""`foreaft access`: the links and QR codes that let other screens connect."""

from __future__ import annotations

import datetime
import os
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from daq.cli.telling import MISSING, draw_code, fail, json_flag, print_json, say, tell

if TYPE_CHECKING:
    from daq.live.web.access import Keys
    from daq.live.web.passes import Given

FOR = {"run": "the fitter's screens", "ride": "the rider's screen: no loads, no setback, only the stop"}


@click.command()
@click.option("--port", default=8765, show_default=True, type=click.IntRange(1, 65535), help="Of the daemon.")
@click.option("--codes", type=click.Path(file_okay=False, path_type=Path), help="Also as SVG files, into this folder.")
@click.option("--screens", is_flag=True, help="The screens that were let in, with their numbers.")
@click.option("--end-screen", metavar="NUMBER", help="End the pass of this screen at once.")
@click.option("--end", is_flag=True, help="End keys and all passes at once; foreaft serve, started again, makes new.")
@json_flag
def access(port: int, codes: Path | None, screens: bool, end_screen: str | None, end: bool, as_json: bool) -> None:
    """Show the links and QR codes for `foreaft serve --lan`. Whoever has a link can connect: show it, do not send
    it."""
    from daq.live.web.keys_file import end_all, passes_beside, read_keys

    path = keys_path()
    keys = read_keys(path)
    if keys is None:
        fail(MISSING, f"no keys in {path}; foreaft serve --lan makes them")
    if end:
        end_all(path)
        tell("keys and passes are ended: no screen is let in until the daemon is started again")
        return
    if end_screen is not None:
        if not passes_beside(path).end(end_screen):
            fail(MISSING, f"no screen {end_screen} is let in; foreaft access --screens lists them")
        tell(f"screen {end_screen} is no longer let in; whoever still has the link can open it again")
        return
    if screens:
        show_screens(passes_beside(path).given(), as_json=as_json)
        return
    if codes is not None:
        write_codes(keys, port, codes)
    if as_json:
        print_json({"links": links(keys, port), "until_utc": until(keys)})
    else:
        show(keys, port, to_stdout=True)


def show_screens(given: list[Given], *, as_json: bool) -> None:
    """Who was let in."""
    if as_json:
        print_json({"screens": [asdict(one) for one in given]})
        return
    for one in given:
        say(f"{one.number}  {one.role:<4}  since {one.since_utc}  from {one.address}")
    if not given:
        say("no screen was let in yet")


def keys_path() -> Path:
    """Where the keys are stored."""
    from daq.keep.paths import default_keys_path

    return default_keys_path(os.environ, Path.home())


def links(keys: Keys, port: int) -> dict[str, str]:
    """The link for each role. The key follows the #, which browsers do not send."""
    return {role: f"{url(port)}#key={getattr(keys, role)}" for role in FOR}


def url(port: int) -> str:
    """The address of the page for other machines."""
    from daq.live.daemon import own_address

    return f"http://{own_address()}:{port}/"


def until(keys: Keys) -> str:
    """When the keys end."""
    return datetime.datetime.fromtimestamp(keys.expires_s, datetime.UTC).isoformat(timespec="minutes")


def show(keys: Keys, port: int, *, to_stdout: bool) -> None:
    """Links, and QR codes if the output is a terminal."""
    err = not to_stdout
    for role, link in links(keys, port).items():
        say(f"{FOR[role]}: {link}", err=err)
        draw_code(link, err=err)
    say(f"until {until(keys)}", err=err)


def write_codes(keys: Keys, port: int, folder: Path) -> None:
    """run.svg and ride.svg, readable by their owner alone."""
    import segno

    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    for role, link in links(keys, port).items():
        path = folder / f"{role}.svg"
        path.unlink(missing_ok=True)
        with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            segno.make(link, error="m").save(file, kind="svg", scale=8, title=f"Foreaft, {FOR[role]}")
        tell(str(path))
