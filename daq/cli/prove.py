"""`foreaft prove`: proves a jig with a mechanical dummy, and its setback scale with a caliper."""

from __future__ import annotations

import asyncio
import contextlib
import tempfile
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, Never

import click

from daq.cli.bench_talk import hello_of, write_new
from daq.cli.files import text_of
from daq.cli.prove_talk import walk
from daq.cli.stored import a_store, store_path
from daq.cli.telling import KEYBOARD, MISSING, REFUSED, UNUSABLE, fail, print_json, say, tell
from daq.refusals import plainly
from daq.sources import loop

if TYPE_CHECKING:
    from daq.keep.store import Store
    from daq.live.links import Link
    from daq.live.session.session import Session
    from daq.proof.proved import Proof
    from daq.proof.sheet import DummyParts, Sheet

FAULTS = ("gain", "backlash", "offset", "crosstalk", "stop", "tilt", "flex")
PATH = click.Path(dir_okay=False, path_type=Path)
JSON = click.option("--json", "as_json", is_flag=True, help="The certificate as JSON.")


@click.group()
def prove() -> None:
    """Prove a jig: does it find a known onset, and how well?

    A workshop's own proof, not an accredited test. firmware_notes/proof_dummy.md has the dummy.
    """


@prove.command()
@click.argument("sheet", type=PATH)
@click.option("--rig", "rig_file", type=PATH, help="Rig file of the jig.")
@click.option("--dummy", type=PATH, help="The dummy's measured values, TOML: firmware_notes/proof_dummy.example.toml.")
@click.option("--by", "made_by", help="Who proves.")
@click.option("--place", default="", help="Where.")
@click.option("--placements", default=4, show_default=True, type=click.IntRange(3, 10), help="Of the dummy.")
@click.option("--read-s", default=3.0, show_default=True, type=click.FloatRange(1, 60), help="Seconds per reading.")
@a_store
@click.option("--simulated", is_flag=True, help="A simulated engineer, dummy and jig, to try it out. No --rig then.")
@click.option("--fault", type=click.Choice(FAULTS), help="With --simulated: what is wrong with the jig.")
@click.option(
    "--board",
    default="simulated",
    show_default=True,
    type=click.Choice(["simulated", "reference"]),
    help="With --simulated; reference: the reference board's own program, executed (pace 10 at most).",
)
@click.option("--page", is_flag=True, help="Work through it on the dashboard, not here.")
@click.option("--port", default=8765, show_default=True, type=click.IntRange(0, 65535), help="Of the dashboard.")
@click.option("--pace", default=1.0, show_default=True, type=click.FloatRange(0.1, 200), help="Of a simulated jig.")
@click.option("--seed", default=1, show_default=True, type=click.IntRange(0), help="With --simulated.")
@JSON
def run(sheet: Path, rig_file: Path | None, store: Path | None, simulated: bool, as_json: bool, **words: Any) -> None:
    """Work through a guided proof; every reading is saved in the file SHEET, and an existing sheet is continued. Exit
    code 1 if the jig is not proved.
    """
    if simulated == (rig_file is not None):
        fail(REFUSED, "expected either --rig with the jig to prove, or --simulated")
    if words["fault"] and not simulated:
        fail(REFUSED, "--fault goes with --simulated: a real jig has its own")
    if words["board"] != "simulated" and not simulated:
        fail(REFUSED, "--board goes with --simulated: a real jig has its own")
    if not sheet.exists() and not words["made_by"]:
        fail(REFUSED, "--by: expected who proves; a certificate names its maker")
    if sheet.exists():
        _read_sheet(sheet)
    elif not sheet.parent.is_dir():
        fail(REFUSED, f"{sheet.parent}: no such folder; make it, or put the sheet elsewhere")
    dummy = None if sheet.exists() else _dummy(words["dummy"], simulated=simulated)
    with _exits(), tempfile.TemporaryDirectory(prefix="foreaft-board-") as folder:
        code = _worked(sheet, dummy, rig_file, store_path(store), words, Path(folder))
    if code != 0:
        raise SystemExit(code)
    _told(_proved(_read_sheet(sheet)), as_json)


def _worked(
    sheet: Path, dummy: DummyParts | None, rig_file: Path | None, path: Path, words: dict[str, Any], folder: Path
) -> int:
    """A session on the jig of the rig file, or a simulated one, around the proof; the exit code.

    dummy: of a new sheet; None: the sheet is there.
    """
    from daq.keep.store import Store
    from daq.live.daemon import listen, serve, url_of
    from daq.live.real import on_rig

    listener = listen("127.0.0.1", words["port"]) if words["page"] else None
    path.parent.mkdir(parents=True, exist_ok=True)
    code = [MISSING]
    with Store.open(path) as opened:

        async def all_of_it() -> None:
            session, links = _simulated(opened, words, folder) if rig_file is None else on_rig(rig_file, opened)
            desk = session.proving

            async def until() -> None:
                await hello_of(session)
                if dummy is None:
                    await desk.take_up(sheet)
                else:
                    what = {name: words[name] for name in ("made_by", "place", "placements", "read_s")}
                    await desk.begin(dummy, **what, path=sheet)
                if listener is None:
                    code[0] = await walk(desk, simulated=rig_file is None)
                else:
                    tell(f"proof: {url_of(listener)}#prove")
                    await asyncio.Event().wait()

            if await serve(session, links, listener=listener, until=until()) is not None:
                code[0] = 0 if listener is not None and (desk.work is None or desk.work.task is None) else KEYBOARD

        loop.run(all_of_it())
    return code[0]


def _simulated(opened: Store, words: dict[str, Any], folder: Path) -> tuple[Session, list[Link]]:
    from daq.live.proving.simulated import SimulatedProof
    from daq.rider.proof_faults import FAULTS as WRONG
    from daq.rider.proof_faults import JigFaults
    from daq.sources.reference_bench import build

    built = build(folder) if words["board"] == "reference" else None
    wrong = WRONG[words["fault"]] if words["fault"] else JigFaults()
    made = SimulatedProof(opened, seed=words["seed"], pace=words["pace"], wrong=wrong, reference=built)
    return made.session, made.links


@contextlib.contextmanager
def _exits() -> Iterator[None]:
    """Turns an error into one sentence and its exit code."""
    from daq.keep.errors import StoreError
    from daq.live.daemon import AddressTaken
    from daq.refusals import NotNow
    from daq.rig_file import RigError
    from daq.sources.reference_bench import CannotBuild

    try:
        yield
    except StoreError as error:
        fail(UNUSABLE, error)
    except (TimeoutError, OSError, AddressTaken, CannotBuild) as error:
        fail(MISSING, error)
    except (RigError, ValueError, NotNow) as error:
        fail(REFUSED, error)


@prove.command()
@click.argument("sheet", type=PATH)
@click.option("--html", type=PATH, help="Write the certificate as a page to print, to this new file.")
@JSON
def result(sheet: Path, html: Path | None, as_json: bool) -> None:
    """The result of a finished SHEET, recomputed, and the tables for the rig file. Exit code 1 if the jig is not
    proved.
    """
    made = _proved(_read_sheet(sheet))
    if html is not None:
        from daq.live.bench.proof_page import proof_page
        from daq.live.web.api import PAGE
        from daq.proof.certificate import certificate

        write_new(html, proof_page(certificate(made), css=(PAGE / "certificate.css").read_text(encoding="utf-8")))
        tell(f"written to {html}")
    _told(made, as_json)


@prove.command()
@click.argument("readings")
@click.option("--by", "made_by", required=True, help="Who measured.")
@click.option("--datum-mm", default=0.1, show_default=True, type=click.FloatRange(0.01, 2), help="u of the ends.")
def scale(readings: str, made_by: str, datum_mm: float) -> None:
    """The setback scale from READINGS.csv (reading_mm, caliper_mm, direction), as a table for the rig file.

    The caliper measures from the BB's axis to the saddle's reference; every position coming forward and going back.
    """
    from daq.live.bench.standing import utc_now
    from daq.proof.certificate import scale_table
    from daq.proof.scale import calibrated_scale
    from daq.proof.scale_csv import MOST_BYTES, parse_scale

    try:
        found = calibrated_scale(*parse_scale(text_of(readings, MOST_BYTES)), u_datum_mm=datum_mm)
    except ValueError as error:
        fail(REFUSED, f"{readings}: {error}")
    at = found.middle_mm
    tell(
        f"at {at:g} mm the saddle is at {found.true_mm(at):.2f} mm by caliper, standard uncertainty "
        f"{found.u_mm(at):.2f} mm; play {found.backlash_mm:+z.2f} mm. Into the rig file:"
    )
    say(scale_table(found, utc_now(), made_by))


EXAMPLE = "begin with a copy of firmware_notes/proof_dummy.example.toml"
SIMULATED_DUMMY: dict[str, Any] = {
    "name": "simulated dummy",
    "rate_n_per_mm": 2.0,
    "u_rate_n_per_mm": 0.02,
    "mass": {"mass_kg": 10.0, "ahead_m": 0.15, "above_m": 0.1},
    "gradual": {"rates_n_per_mm": (0.7, 0.7, 0.7), "later_mm": (0.0, 20.0, 40.0)},
}


def _dummy(path: Path | None, *, simulated: bool) -> DummyParts:
    from pydantic import ValidationError

    from daq.proof.sheet import DummyParts

    if simulated:
        return DummyParts.model_validate(SIMULATED_DUMMY)
    if path is None:
        fail(REFUSED, "--dummy: expected the dummy's measured values; see firmware_notes/proof_dummy.example.toml")
    try:
        return DummyParts.model_validate(tomllib.loads(text_of(str(path), 64 * 1024)))
    except ValidationError as error:
        _refused(path, error, EXAMPLE)
    except ValueError as error:
        fail(REFUSED, f"{path}: not TOML: {error}; {EXAMPLE}")


def _read_sheet(path: Path) -> Sheet:
    from pydantic import ValidationError

    from daq.keep.proofs import load

    try:
        return load(path)
    except OSError as error:
        fail(UNUSABLE, f"{path}: {error.strerror}; give the sheet of a proof, a file that `foreaft prove run` wrote")
    except ValidationError as error:
        _refused(path, error, "give the sheet of a proof, a file that `foreaft prove run` wrote")
    except ValueError as error:
        what = "not text" if isinstance(error, UnicodeDecodeError) else str(error)
        fail(
            UNUSABLE,
            f"{path} is no sheet of a proof: {what}; give a file that `foreaft prove run` wrote, or a new name",
        )


def _refused(path: Path, error: Any, cure: str) -> Never:
    wrong = [": ".join([*filter(None, [".".join(map(str, one["loc"]))]), plainly(one)]) for one in error.errors()[:5]]
    fail(REFUSED, f"{path}: {'; '.join(wrong)}; {cure}")


def _proved(sheet: Sheet) -> Proof:
    from daq.proof.proved import NotDone, proved

    try:
        return proved(sheet)
    except NotDone as error:
        fail(REFUSED, error)


def _told(made: Proof, as_json: bool) -> None:
    from daq.proof.certificate import certificate, lines, rig_tables

    content = certificate(made)
    if as_json:
        print_json(content)
    else:
        say("\n".join(lines(content)))
        tell(f"into the rig file:\n{rig_tables(made)}")
    raise SystemExit(0 if made.passed else 1)
