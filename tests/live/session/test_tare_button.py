"""The tare button of a board, section 5 of the wire protocol: marked on every scan until the host has answered."""

import asyncio

import pytest
import uvloop

from daq.items import ZERO, Event
from daq.keep.store import Store
from daq.live.daemon import serve
from daq.live.links import links_of
from daq.live.real import begin
from daq.live.session import tare_button, zero_desk
from daq.live.session.acquisition import Rider
from daq.live.session.session import Session
from daq.measure.calibration import CalibratedChannel, Calibration
from daq.rig_file import parse_rig
from daq.sources.clock import SessionClock
from tests.rigs import rig_text
from tests.sources.fake_board import FakeBoard
from tests.sources.waiting import until

CHANNELS = (
    CalibratedChannel("hands", "force", (0.0, 0.01), zero_counts=9_000.0),
    CalibratedChannel("saddle", "force", (0.0, 0.01), zero_counts=50_000.0),
    CalibratedChannel("tilt", "tilt", (0.0, 0.001)),
)
CALIBRATION = Calibration("test", "2026-01-01T00:00:00+00:00", CHANNELS)


@pytest.fixture
def board():
    fake = FakeBoard()
    yield fake
    fake.unplug()


def pressed(folder, board, inside):
    """Run the daemon's parts on this board while `inside` acts; the session and the zeros stored."""
    text = rig_text(f'[board]\nport = "{board.port}"')
    clock = SessionClock()

    async def ride():
        storing = begin(
            Store.open(folder / "s.sqlite"), rig_text=text, calibration=CALIBRATION, simulated=True, clock=clock
        )
        session = Session(parse_rig(text), CALIBRATION, clock, Rider("R-0001", 75.0), storing=storing)

        async def act():
            await until(lambda: session.acquisition.sensors.decoder.scans > 50)
            await inside(session)

        await asyncio.wait_for(serve(session, [board.run, *links_of(session)], until=act()), 60)
        return session

    session = uvloop.run(ride())
    with Store.open(folder / "s.sqlite", write=False) as store:
        return session, [e for e in store.read_items(1) if isinstance(e, Event) and e.kind == ZERO]


def test_a_press_takes_the_zero_after_a_rest_and_the_board_is_told(tmp_path, board):
    async def press(session):
        board.press_tare()
        await until(lambda: not board.tare_asked)

    session, zeros = pressed(tmp_path, board, press)

    # the hands' mean is 10 000 counts, 1000 counts of 0.01 N above the calibration's zero
    assert any(note.text.endswith("hands +10.0, saddle +0.0") for note in session.acquisition.notices)
    assert len(zeros) == 1
    assert zeros[0].content["zero_counts"][0] == pytest.approx(10_000, abs=1)


def test_a_press_with_a_load_on_the_jig_is_refused_with_the_reason_and_the_board_not_told(tmp_path, board, monkeypatch):
    monkeypatch.setattr(tare_button, "REST_S", 0.2)

    async def press(session):
        board.counts[1] = 90_000
        await until(lambda: (session.acquisition.pipeline.recent_counts()[:, 1] > 80_000).all())
        board.press_tare()
        await until(
            lambda: any(
                "the board's tare button: saddle carries 400 N" in note.text for note in session.acquisition.notices
            )
        )
        assert board.tare_asked

    _, zeros = pressed(tmp_path, board, press)

    assert zeros == []


def test_a_press_whose_zero_fails_by_a_fault_of_ours_is_told_and_answered_once_and_the_next_is_taken(
    tmp_path, board, monkeypatch
):
    monkeypatch.setattr(tare_button, "REST_S", 0.2)
    real, tried = zero_desk.zero_of, []

    def zero_of(*given):
        tried.append(1)
        if len(tried) == 1:
            raise ZeroDivisionError("planted")
        return real(*given)

    async def press(session):
        monkeypatch.setattr(zero_desk, "zero_of", zero_of)
        board.press_tare()
        await until(lambda: any(note.level == "alarm" for note in session.acquisition.notices))
        board.give_up_tare()
        await until(lambda: not session.acquisition.sensors.tare_asked)
        await asyncio.sleep(2 * tare_button.LOOK_EVERY_S)
        board.press_tare()
        await until(lambda: not board.tare_asked)

    session, zeros = pressed(tmp_path, board, press)

    assert len(zeros) == 1
    assert [note.text for note in session.acquisition.notices if note.level == "alarm"] == [
        "the board's tare button: a fault of this program (ZeroDivisionError); it is not certain that the zero was "
        "taken. Take it on the page, and report it with the log"
    ]
    assert tried == [1, 1]
