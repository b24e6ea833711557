"""`foreaft serve`: the daemon on a real jig."""

from __future__ import annotations

import datetime
import ipaddress
import signal
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from daq.cli.panel import a_prior, priors_from
from daq.cli.stored import store_path
from daq.cli.telling import KEYBOARD, MISSING, REFUSED, UNUSABLE, fail, tell
from daq.sources import loop

if TYPE_CHECKING:
    from daq.live.web.access import Keys


@click.command()
@click.option("--rig", "rig_file", type=click.Path(dir_okay=False, path_type=Path), help="Rig file, TOML.")
@click.option("--typed", is_flag=True, help="No board: a person reads a scale and types. Makes a rig file when needed.")
@click.option("--unit", type=click.Choice(["N", "kg", "lb"]), help="Of the scale's display, for a rig file made now.")
@click.option("--step", type=click.FloatRange(0.001, 20), help="The smallest step of its display, in its unit.")
@click.option(
    "--store", type=click.Path(dir_okay=False, path_type=Path), help="Store file; created if it does not exist."
)
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen at.")
@click.option("--port", default=8765, show_default=True, type=click.IntRange(0, 65535))
@click.option("--lan", is_flag=True, help="Listen on the network; other screens need a key, see foreaft access.")
@click.option("--name", "names", multiple=True, help="Another name it has on the network, for example behind a proxy.")
@click.option(
    "--proxy",
    "proxies",
    multiple=True,
    help="Address or network of a proxy in front of it, whose X-Forwarded-For is believed. Nobody's is otherwise.",
)
@click.option(
    "--key-hours", default=14.0, show_default=True, type=click.FloatRange(0.1, 744), help="Hours a key stays valid."
)
@click.option(
    "--log",
    "log_form",
    default="words",
    show_default=True,
    type=click.Choice(["words", "json"]),
    help="json: one object per line, commands included.",
)
@click.option("--rider", default="R-0000", show_default=True, help="Pseudonym of the rider. Never a name.")
@click.option("--mass-kg", type=click.FloatRange(30, 200), help="Rider's mass as ridden, with shoes and clothes.")
@click.option(
    "--record",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Also write all that is received to this new file, to replay. It holds the loads of whoever rides; "
    "foreaft forget does not reach it.",
)
@click.option(
    "--resume-within",
    default=1.0,
    show_default=True,
    type=click.FloatRange(0, 744),
    help="Hours after which an interrupted sweep is no longer resumed; a rested rider has to warm up again.",
)
@click.option(
    "--lsl",
    type=click.Choice(["off", "machine", "network"]),
    default="off",
    show_default=True,
    help="Loads, strokes, events and answers as streams of the Lab Streaming Layer: to programs of this machine, or to "
    "the whole network.",
)
@click.option("--lsl-markers", "lsl_markers", multiple=True, metavar="NAME", help="Keep the markers of this stream.")
@a_prior
def serve(
    rig_file: Path | None,
    typed: bool,
    unit: str | None,
    step: float | None,
    store: Path | None,
    host: str,
    port: int,
    lan: bool,
    names: tuple[str, ...],
    proxies: tuple[str, ...],
    key_hours: float,
    log_form: Any,
    rider: str,
    mass_kg: float | None,
    record: Path | None,
    resume_within: float,
    lsl: Any,
    lsl_markers: tuple[str, ...],
    prior: Path | None,
) -> None:
    """Run the daemon for the jig that a rig file describes, until Ctrl-C."""
    from daq.cli import access
    from daq.keep.errors import StoreError
    from daq.keep.store import Store
    from daq.live import logs
    from daq.live.daemon import AddressTaken, listen, url_of
    from daq.live.lab.layer import LabUnusable
    from daq.live.real import read_rig, serve_rig
    from daq.live.session.acquisition import Rider
    from daq.live.typed_rig import check_unit
    from daq.live.web.keys_file import keys_at, passes_beside
    from daq.rig_file import RigError

    logs.set_up(log_form)
    if record is not None and record.exists():
        fail(REFUSED, f"{record} is there already, and a recording is never overwritten: name another file")
    _look_at_addresses(host, proxies, lan=lan)
    priors = None if prior is None else priors_from(prior)
    lab = _lab_scope(lsl, lsl_markers)
    path = store_path(store)
    try:
        rig_file = _rig_file(rig_file, typed=typed, unit=unit, step=step, log_form=log_form)
        _, rig, _ = read_rig(rig_file)
        listener = listen("0.0.0.0" if lan and is_loopback(host) else host, port)
        keys = keys_at(access.keys_path(), key_hours) if lan else None
        passes = passes_beside(access.keys_path()) if lan else None
        path.parent.mkdir(parents=True, exist_ok=True)
        if record is not None:
            _try_new_file(record)
        opened = Store.open(path)
        check_unit(opened, rig)
    except RigError as error:
        fail(REFUSED, error)
    except AddressTaken as error:
        fail(MISSING, error)
    except (StoreError, OSError) as error:
        fail(UNUSABLE, error)
    at = listener.getsockname()[1]
    _tell_where(access.url(at) if lan else url_of(listener), path, log_form)
    if keys is not None:
        _tell_of_keys(keys, at, log_form)
    who = Rider(rider, mass_kg)
    try:
        ended_by = loop.run(
            serve_rig(
                rig_file,
                opened,
                who,
                listener,
                keys=keys,
                names=names,
                passes=passes,
                proxies=proxies,
                record=record,
                resume_within=datetime.timedelta(hours=resume_within),
                priors=priors,
                lab=lab,
                markers=lsl_markers,
            )
        )
    except (StoreError, LabUnusable) as error:
        fail(UNUSABLE, error)
    logs.log.info("ended", extra={"signal": ended_by.name if ended_by else None})
    raise SystemExit(KEYBOARD if ended_by is signal.SIGINT else 0)


def _look_at_addresses(host: str, proxies: Sequence[str], *, lan: bool) -> None:
    """End with one sentence where nobody could be told from somebody else."""
    if not lan and not is_loopback(host):
        fail(REFUSED, f"--host {host}: other machines could connect; say --lan, so that they need a key")
    for proxy in proxies:
        if not is_network(proxy):
            fail(REFUSED, f"--proxy {proxy}: expected an address or a network such as 192.0.2.7 or 192.0.2.0/24")


def _lab_scope(lsl: Any, markers: tuple[str, ...]) -> Any:
    """Who may hear the streams, None for nobody, once it is known that it can be done."""
    from daq.live.lab.layer import LabUnusable, library

    if lsl == "off":
        if markers:
            fail(REFUSED, "--lsl-markers: say with --lsl whose streams are looked for: machine or network")
        return None
    try:
        library(lsl)
    except LabUnusable as error:
        fail(REFUSED, error)
    return lsl


def _tell_where(url: str, store: Path, log_form: str) -> None:
    if log_form == "json":
        from daq.live import logs

        logs.log.info("listening", extra={"url": url, "store": str(store)})
    else:
        tell(f"dashboard: {url}\nstore: {store}")


def _tell_of_keys(keys: Keys, port: int, log_form: str) -> None:
    if sys.stderr.isatty():
        from daq.cli import access

        access.show(keys, port, to_stdout=False)
    elif log_form == "words":
        tell("other screens are let in with a key; foreaft access shows it")


def _rig_file(given: Path | None, *, typed: bool, unit: str | None, step: float | None, log_form: str) -> Path:
    """The rig file to serve, made first where a person types and none is there. RigError, OSError."""
    from daq.live.typed_rig import made_when_missing

    if not typed:
        if given is None or unit is not None or step is not None:
            fail(REFUSED, "--rig: expected the rig file of the jig; --typed, --unit and --step are for a scale")
        return given
    from daq.cli.settings import settings_path

    path = settings_path().parent / "typed.toml" if given is None else given
    made = made_when_missing(path, unit, step)
    if log_form == "words":
        tell(f"rig file: {path}{', made now: write your levers and sizes into it and start again' if made else ''}")
    return path


def _try_new_file(path: Path) -> None:
    """OSError, before anything is ridden, if no file can be created there."""
    path.open("xb").close()
    path.unlink()


def is_loopback(host: str) -> bool:
    """Whether only this machine can connect to this address."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def is_network(text: str) -> bool:
    """Whether this is an address, or a network of some."""
    try:
        ipaddress.ip_network(text)
    except ValueError:
        return False
    return True
