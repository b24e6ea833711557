"""A stored sweep and what could be computed from it, made by hand for the tests of exports."""

import math

import numpy as np

from daq.items import Event
from daq.keep.again.derived import Derived
from daq.keep.store import Store
from daq.values import NAN, Loads, Onset, Result, Status, StepMean, Stroke, Validity, Verdict
from tests.keep.jig import CALIBRATION, begin, second_of_session

SOUND = Status(0)


def stored(
    store: Store, *, client_id: int | None = None, simulated: bool = True, seconds: int = 6, **session: object
) -> int:
    """A sweep of a few seconds in a session of its own."""
    session_id = begin(store, simulated=simulated, calibration=CALIBRATION, **session)
    for second in range(seconds):
        store.put(session_id, second_of_session(second))
    store.put(session_id, [Event(2_000_000, "mark", {"text": "shifted his hands", "t_s": NAN})])
    sweep_id = store.begin_sweep(
        session_id,
        from_us=1_000_000,
        plan={"positions_mm": [120.0, 100.0]},
        rider={"mass_kg": 71.5},
        gradient_pct=4.5,
        calibration=CALIBRATION,
        client_id=client_id,
    )
    store.put_result(sweep_id, kind="onset", method="grid/1", content={"onset_mm": 98.7, "reasons": ['größer, "so"']})
    store.end_sweep(sweep_id, to_us=5_500_000, state="finished")
    return sweep_id


def stroke(index: int, hands_n: float = 80.1, flags: Status = SOUND) -> Stroke:
    """One of 0.66 s."""
    start_s = 1.0 + index * 0.66
    return Stroke(
        start_s, start_s + 0.66, hands_n + index / 3, 300.7, NAN, 2.58, 21.2, 200.0, (hands_n / 2, 150.3), 66, flags
    )


def computed(store: Store, sweep_id: int) -> Derived:
    """Numbers that no binary fraction holds, one of everything, and things that are missing."""
    strokes = tuple(stroke(i, flags=Status.SATURATED if i == 2 else SOUND) for i in range(6))
    loads = Loads(
        t_s=np.arange(300) / 100 + 0.1,
        hands_n=np.sin(np.arange(300)) * 80.3,
        saddle_n=np.full(300, 301.1),
        tilt_deg=np.where(np.arange(300) < 5, NAN, 2.58),
        cells_n=np.cos(np.arange(600)).reshape(300, 2) * 40.7,
        status=(np.arange(300) % 8).astype(np.uint8),
    )
    step = StepMean(120.0, 80.1, NAN, 0.033, 21.2, 300.7, 2.58, (strokes[0], strokes[1], strokes[4]), 2)
    onset = Onset(
        Verdict.ONSET, False, 98.7, (95.1, 102.3), 0.97, 0.02, 0.01, 98.9, 1.25, 102.7, 60.3, 0.31, ("clear",),
        "grid/1",
        validity=(
            Validity("hips", 0.86, "mm/mm", (0.81, 0.91), Result.PASSED, False, "the hips kept their place", ""),
            Validity("reach", math.nan, "", None, Result.NOT_MADE, False, "reach not confirmed", "confirm the bar"),
        ),
    )  # fmt: skip
    return Derived(
        loads=(loads,),
        strokes=strokes,
        steps=(step,),
        onset=onset,
        cells=("bar", "nose"),
        clock_error_ms={"board": 0.2, "power": None},
        methods={"onset": "grid/1", "step": "step/1"},
    )
