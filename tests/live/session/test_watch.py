"""What the watch and the tare button tell, and the place a notice names."""

import asyncio
import contextlib

from daq.live.session import tare_button
from daq.live.session.tare_button import TareButton
from daq.live.session.watch import Watch
from daq.measure.calibration.doubts import Doubt, Doubtful
from daq.measure.calibration.status import CalibrationStatus, Standing
from daq.refusals import NotNow


def test_what_a_calibration_cures_leads_to_the_bench_and_a_cable_nowhere():
    told, standing = [], [CalibrationStatus(Standing.VALID, "all is well", None)]
    watch = Watch(
        troubles=lambda: {"board": "no data for 3 s"},
        doubts=lambda: [
            Doubtful(Doubt.NOT_CALIBRATED, "hands", "hands: what it shows is unknown"),
            Doubtful(Doubt.SATURATED, "nose", "nose: see its cable"),
        ],
        taken_by=lambda: None,
        status=lambda: standing[-1],
        sweep=lambda: None,
        notice=lambda level, text, see=None: told.append((level, text, see)),
        spoiled=lambda *_: None,
    )

    watch.look()
    standing.append(CalibrationStatus(Standing.EXPIRED, "too old", None))
    watch.look()

    assert told == [
        ("caution", "board: no data for 3 s", None),
        ("caution", "hands (not calibrated): what it shows is unknown", "bench"),
        ("caution", "nose (saturated): see its cable", None),
        ("caution", "too old", "bench"),
    ]


def test_a_press_of_the_tare_button_that_is_refused_leads_to_what_is_in_the_way(monkeypatch):
    monkeypatch.setattr(tare_button, "REST_S", 0.0)
    monkeypatch.setattr(tare_button, "LOOK_EVERY_S", 0.001)
    told = []

    async def take():
        raise NotNow("a sweep is under way", see="ride")

    async def pressed():
        button = TareButton(
            asked=lambda: True,
            take=take,
            notice=lambda level, text, see=None: told.append((level, text, see)),
            tell_board=lambda: None,
        )
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(button.run(), 0.1)

    asyncio.run(pressed())

    assert told == [("caution", "the board's tare button: a sweep is under way", "ride")]
