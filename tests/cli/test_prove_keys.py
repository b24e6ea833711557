"""The keys of a proof in a real terminal: `foreaft prove run` on one pseudo-terminal, its board on another."""

import asyncio
import contextlib
import os
import sys

import pytest
import uvloop

from daq.cli.telling import KEYBOARD
from daq.keep.proofs import keep, load
from daq.live.real import read_rig
from daq.proof.sheet import ProofReading, parts_of
from daq.proof.tasks import tasks
from tests.proof.simulated_sheet import begun
from tests.rigs import rig_text
from tests.sources.fake_board import FakeBoard

STEPS = len(list(tasks(begun().plan)))
TYPED = (
    (f"[2/{STEPS}, setback scale] Coming forward, set the saddle to 100 mm", "100.2"),
    (f"[3/{STEPS}, setback scale] Coming forward, set the saddle to 80 mm", "r"),
    (f"[3/{STEPS}, setback scale] Coming forward, set the saddle to 100 mm", "100,4"),
    (f"[3/{STEPS}, setback scale] Coming forward, set the saddle to 80 mm", "r 80.1"),
    ("not taken: expected caliper_mm, got 'r 80.1'", "80.1"),
    (f"[4/{STEPS}, setback scale] Coming forward, set the saddle to 60 mm", "q"),
    (f"left at 3 of {STEPS}; the same command goes on", None),
)
"""What the terminal shows, and what is typed when it does."""


class Terminal:
    """A person's terminal: what stands on it, and a keyboard."""

    def __init__(self):
        self._keys, self.line = os.openpty()
        os.set_blocking(self._keys, False)
        self.shown = ""

    def type(self, text):
        os.write(self._keys, f"{text}\r".encode())

    async def shows(self, text):
        """Waits until this stands on it; what stood before it is taken away."""
        while text not in self.shown:
            with contextlib.suppress(BlockingIOError):
                self.shown += os.read(self._keys, 65_536).decode(errors="replace")
            await asyncio.sleep(0.01)
        self.shown = self.shown.partition(text)[2]

    def close(self):
        os.close(self._keys)
        os.close(self.line)


async def proved_at(folder):
    """The exit code of a proof that is worked through as TYPED says."""
    board, terminal = FakeBoard(), Terminal()
    (folder / "rig.toml").write_text(rig_text(f'[board]\nport = "{board.port}"'))
    _, rig, calibration = read_rig(folder / "rig.toml")
    sheet = begun(parts=parts_of(rig, calibration.id), calibration=calibration.id, simulated=False)
    keep(sheet.with_reading(ProofReading(task="empty", at_utc=sheet.begun_utc, t_min=0.0)), folder / "p.json")
    words = ("prove", "run", folder / "p.json", "--rig", folder / "rig.toml", "--store", folder / "s.sqlite")
    being_a_board = asyncio.create_task(board.run())
    command = (sys.executable, "-m", "daq.cli", *map(str, words))
    streams = dict.fromkeys(("stdin", "stdout", "stderr"), terminal.line)
    process = await asyncio.create_subprocess_exec(*command, **streams, start_new_session=True)
    try:
        async with asyncio.timeout(120):
            for shown, typed in TYPED:
                await terminal.shows(shown)
                if typed is not None:
                    terminal.type(typed)
            return await process.wait()
    finally:
        being_a_board.cancel()
        if process.returncode is None:
            process.kill()
        terminal.close()


@pytest.fixture(scope="module")
def left(tmp_path_factory):
    folder = tmp_path_factory.mktemp("proof")
    return folder, uvloop.run(proved_at(folder))


def test_q_leaves_the_proof_as_a_break_from_the_keyboard_does(left):
    assert left[1] == KEYBOARD


def test_r_takes_the_last_one_again_and_every_reading_stays(left):
    readings = load(left[0] / "p.json").readings

    assert [(one.task, one.typed.get("caliper_mm")) for one in readings] == [
        ("empty", None),
        ("scale/forward/100", 100.2),
        ("scale/forward/100", 100.4),
        ("scale/forward/80", 80.1),
    ]
