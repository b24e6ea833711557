"""The command `foreaft`. Each command reads its arguments, calls one function and prints the result.

Exit codes: 0 done; 1 a check failed; 2 usage error, or the input was refused; 3 something is missing on this
machine: a port, a device, a free address; 4 stored data cannot be used; 130 ended from the keyboard.
Results go to standard output, everything else to standard error. Heavy imports wait until a command needs them.
"""

from __future__ import annotations

import contextlib
import importlib
import io
import keyword
import os
from collections.abc import Iterator
from typing import IO, Any

import click

import daq

# Before numpy is loaded: its matrices here are small, and threads that wait for each other cost more than they compute
# (ten onsets: 0.26 against 0.10 s of processor time; with other work beside them far more).
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# Once a large block has been freed, glibc keeps up to twice as much freed memory instead of returning it (mallopt(3),
# M_MMAP_THRESHOLD). Otherwise each onset returns some 5 MB and faults them in anew, an eighth of its time. This block
# is never touched.
bytes(1 << 24)

COMMANDS = {
    "demo": "daq.cli.demo",
    "try": "daq.cli.practice",
    "serve": "daq.cli.serve",
    "replay": "daq.cli.replay",
    "sweeps": "daq.cli.sweeps",
    "onset": "daq.cli.answers",
    "balance": "daq.cli.answers",
    "calibrate": "daq.cli.calibrate",
    "prove": "daq.cli.prove",
    "export": "daq.cli.exporting",
    "import": "daq.cli.keeping",
    "archive": "daq.cli.keeping",
    "panel": "daq.cli.panel",
    "verify": "daq.cli.keeping",
    "backup": "daq.cli.keeping",
    "restore": "daq.cli.keeping",
    "salvage": "daq.cli.keeping",
    "close": "daq.cli.close",
    "hand-over": "daq.cli.keeping",
    "forget": "daq.cli.keeping",
    "probe": "daq.cli.probe",
    "doctor": "daq.cli.doctor",
    "access": "daq.cli.access",
    "clients": "daq.cli.clients",
    "consent": "daq.cli.clients",
    "keep-until": "daq.cli.clients",
    "join-clients": "daq.cli.joining",
    "part-clients": "daq.cli.joining",
    "config": "daq.cli.settings",
}


class _Lazy(click.Group):
    """Loads a command's module only when it is used, so that --version answers at once."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 (click's signature)
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002 (the same)
        if cmd_name not in COMMANDS:
            return None
        name = f"{cmd_name}_" if keyword.iskeyword(cmd_name) else cmd_name.replace("-", "_")
        command: click.Command = getattr(importlib.import_module(COMMANDS[cmd_name]), name)
        from daq.cli.settings import prepare

        return prepare(cmd_name, command)

    def make_context(self, *args: Any, **extra: Any) -> click.Context:
        with _plainly_refused():
            return super().make_context(*args, **extra)

    def invoke(self, ctx: click.Context) -> Any:
        with _plainly_refused():
            return super().invoke(ctx)


class _Refusal(click.ClickException):
    """An error raised by click, printed like all other text: it quotes arguments and file names."""

    exit_code = 2

    def __init__(self, error: click.ClickException) -> None:
        super().__init__(error.message)
        self._error = error

    def show(self, file: IO[Any] | None = None) -> None:  # noqa: ARG002 (the same)
        from daq.cli.telling import say

        text = io.StringIO()
        self._error.show(text)
        say(text.getvalue(), err=True, end="")


@contextlib.contextmanager
def _plainly_refused() -> Iterator[None]:
    try:
        yield
    except _Refusal:
        raise
    except click.ClickException as error:
        raise _Refusal(error) from error


@click.group(cls=_Lazy, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(daq.__version__, prog_name="foreaft")
@click.pass_context
def main(ctx: click.Context) -> None:
    """Foreaft measures how a rider's weight is shared between hands, saddle and feet, and finds the setback at
    which hand load begins to rise.

    The tool advises, the fitter decides. Pain or numbness means stop.
    """
    from daq.cli.settings import WITHOUT, read_settings, settings_path

    found = read_settings(settings_path())
    ctx.default_map = {name: found for name in COMMANDS if name not in WITHOUT}
