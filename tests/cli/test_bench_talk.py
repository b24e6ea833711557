"""What the terminal says at the bench when something could not be used."""

import asyncio
from types import SimpleNamespace

import pytest

from daq.cli.bench_talk import walk


@pytest.mark.parametrize(
    ("task", "cure"),
    [
        ("hands_left/1/rising/2", "Enter reads again"),
        (None, "read again what is named (r TASK, series CELL N), or q"),
    ],
)
def test_what_could_not_be_used_is_told_with_what_to_press(capsys, task, cure):
    fields = {"done": 3, "planned": 9, "task": None, "accepts": []}
    desk = SimpleNamespace(
        bench=SimpleNamespace(task=task), problem="it could not be used", pending=(), fields=lambda: fields
    )

    async def leaves(_):
        return "q"

    session = SimpleNamespace(calibrating=SimpleNamespace(under_way=lambda: desk))
    assert asyncio.run(walk(session, SimpleNamespace(line=leaves), hands=None)) == 0
    assert f"it could not be used\n  {cure}\n" in "".join(capsys.readouterr())
