"""Commands of the program, run in this process."""

from __future__ import annotations

from click.testing import CliRunner, Result

from daq.cli import main


def foreaft(*words: object, text: str | None = None) -> Result:
    """One command; text: what is typed."""
    return CliRunner().invoke(main, [str(word) for word in words], input=text)
