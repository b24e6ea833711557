"""`foreaft panel`: what all riders' repeats show, and which further repeats would show more."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import click

from daq.cli.files import text_of
from daq.cli.stored import a_store, opened
from daq.cli.telling import REFUSED, UNUSABLE, fail, json_flag, print_json, say, tell
from daq.words import counted

if TYPE_CHECKING:
    from daq.keep.clients.told import Gathered
    from daq.sweep.panel import Panel
    from daq.sweep.pooling import PooledWorkshops
    from daq.sweep.spreads import SpreadPriors

MOST_PRIOR_BYTES = 64 * 1024
a_prior = click.option(
    "--prior",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Initial scatter: another workshop's table, from --write-prior. Default: judgement.",
)


@click.command()
@a_store
@a_prior
@click.option(
    "--archive",
    "archived",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="Use exported sweeps instead: the folder that foreaft archive wrote.",
)
@click.option("--repeat", metavar="CLIENT", help="Plan the repeat of this client's last test instead; see --json.")
@click.option("--simulated", is_flag=True, help="Use simulated riders instead of real ones.")
@click.option("--write-prior", type=click.Path(dir_okay=False, path_type=Path), help="Write what was learned here.")
@click.option("--workshop", help="With --write-prior: the workshop's name.")
@json_flag
def panel(
    store: Path | None,
    prior: Path | None,
    archived: Path | None,
    repeat: str | None,
    simulated: bool,
    write_prior: Path | None,
    workshop: str | None,
    as_json: bool,
) -> None:
    """Report how far onsets scatter between days and between sweeps, learned from all riders tested more than once.

    With --repeat and --json: the plan as POST /api/v1/sweeps of a running daemon takes it.
    """
    from daq.fit.workshop_words import panel_fields, panel_lines, who_could_repeat
    from daq.sweep.workshop import taught

    if (write_prior is None) != (workshop is None):
        fail(REFUSED, "--write-prior and --workshop go together: a table is known by its workshop's name")
    if repeat is not None:
        unused = {"--archive": archived, "--prior": prior, "--write-prior": write_prior}
        for option in (name for name, given in unused.items() if given is not None):
            fail(REFUSED, f"--repeat plans a test of a client of this workshop: it does not go with {option}")
        _plan_repeat(store, repeat, simulated=simulated, as_json=as_json)
        return
    priors = None if prior is None else priors_from(prior)
    gathered, shared = _gathered(store, archived, simulated=simulated)
    _tell_left_out(gathered)
    if not gathered.tests:
        others, _ = _gathered(store, archived, simulated=not simulated)
        _refuse_none(others, simulated=simulated)
    found = taught(gathered.tests, priors)
    if as_json:
        print_json(panel_fields(found, gathered.tests, gathered.verdicts, gathered.failed, gathered.left_out))
    else:
        say("\n".join(panel_lines(found, gathered.tests, gathered.verdicts, gathered.failed)))
        also = " --simulated" if simulated else ""
        for client, day in who_could_repeat(found) if archived is None else ():
            say(f"could come again: {client}, tested on {day} only; its plan: foreaft panel --repeat {client}{also}")
    if write_prior is not None and workshop is not None:
        _share(write_prior, shared, priors, workshop, simulated=simulated)


def _tell_left_out(gathered: Gathered) -> None:
    for sweep, why in gathered.left_out.items():
        tell(f"sweep {sweep} left out: {why}")


def _refuse_none(others: Gathered, *, simulated: bool) -> NoReturn:
    """others: the tests of the other kind of riders, real or simulated."""
    if others.tests:
        here, wanted = ("real", "leave out") if simulated else ("simulated", "add")
        fail(UNUSABLE, f"every rider here is {here}: {wanted} --simulated")
    fail(UNUSABLE, "no sweep here says anything about an onset yet; ride one with a client")


def _plan_repeat(store: Path | None, client: str, *, simulated: bool, as_json: bool) -> None:
    from daq.fit.repeat import as_body, repeat_said
    from daq.keep.again.repeating import repeat_in
    from daq.keep.clients import people
    from daq.keep.clients.told import told_in

    with opened(store) as open_store:
        known = people.client_called(open_store, client).pseudonym
        try:
            test, plan = repeat_in(open_store, told_in(open_store, simulated=simulated).tests, known)
        except ValueError as error:
            fail(REFUSED, error)
    if as_json:
        print_json(as_body(plan))
        return
    say(f"repeat of sweep {test.sweep} of {known}, ridden on {test.entry.day}:")
    say("\n".join(repeat_said(plan)))


def _gathered(store: Path | None, archived: Path | None, *, simulated: bool) -> tuple[Gathered, Gathered]:
    """All tests, and those of clients who agreed to research: only these are exported into an archive."""
    from daq.keep.clients.told import told_in
    from daq.keep.package.told_archive import told_by_archive

    if archived is not None:
        try:
            found = told_by_archive(archived, simulated=simulated)
        except ValueError as error:
            fail(UNUSABLE, error)
        return found, found
    with opened(store) as open_store:
        return told_in(open_store, simulated=simulated), told_in(open_store, simulated=simulated, research=True)


def priors_from(file: Path) -> SpreadPriors:
    """Another workshop's table; an invalid file ends the command."""
    from daq.keep.bounded import from_json
    from daq.sweep.prior_file import priors_in

    try:
        return priors_in(from_json(text_of(str(file), MOST_PRIOR_BYTES).encode()))
    except ValueError as error:
        fail(REFUSED, f"{file}: {error}")


def _share(path: Path, shared: Gathered, priors: SpreadPriors | None, workshop: str, *, simulated: bool) -> None:
    """Write what those clients have taught who agreed to research."""
    from daq.fit.days import spreads_from
    from daq.sweep.workshop import pooled_workshops, taught

    if not shared.tests:
        fail(REFUSED, f"{path} is not written: no client tested here has agreed to the use of records in research")
    found = taught(shared.tests, priors)
    if not found.enough:
        fail(REFUSED, f"{path} is not written, by the clients who agreed to research: {spreads_from(found)}")
    _write(path, found.panel, pooled_workshops(found, workshop), simulated=simulated)


def _write(path: Path, found: Panel, pooled: PooledWorkshops, *, simulated: bool) -> None:
    from daq.keep.json_text import json_text
    from daq.keep.private import new_file
    from daq.keep.store.sessions import utc_now
    from daq.sweep.prior_file import BadPrior, prior_of, priors_in

    content = prior_of(found, pooled, utc_now(), simulated=simulated)
    try:
        priors_in(content)
        with new_file(path) as file:
            file.write(json_text(content).encode())
    except BadPrior as error:
        fail(REFUSED, f"--workshop: {error}")
    except FileExistsError:
        fail(REFUSED, f"{path} is there already: name another file")
    except OSError as error:
        fail(UNUSABLE, f"{path}: {error.strerror}; choose a place that can be written")
    tell(
        f"{path}: what another workshop may expect, learned from {counted(found.riders, 'rider')}, "
        f"{counted(found.days, 'day')}, {counted(found.sweeps, 'sweep')} of {counted(len(pooled.each), 'workshop')}; "
        "wider than what was seen there, since it is another. No pseudonym, date of a test or onset is in it"
    )
