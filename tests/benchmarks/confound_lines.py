"""The lines of the confounds benchmark: every confound in its sizes, with riders who have an onset or have none.

`cure` is a pattern that has to be found in the reasons of a sweep that ends without a verdict: what the fitter
should do about just this confound. A sweep ridden one way is told to ride out and back, which is the right cure for
whatever goes on with time, and for nothing else.
"""

from __future__ import annotations

from tests.benchmarks.confound_rides import Line

BOTH_WAYS = "every second position"
REST = r"\brest, |" + BOTH_WAYS
SETTLE = r"settle \d+ s|settle longer|" + BOTH_WAYS
SIT = "seat bones|where the rider sits"
HANDS = "where the hands|hands? ha(ve|s) moved"
CELLS = r"\bfix '|check [^|]*\bcells?\b|plug"
POWER = "power sensor"
BLIND = "knowing the setback"
AGAIN = r"same mark|once more|mm again|" + BOTH_WAYS
"""What is scattered is cured by clamping at the mark and by riding these positions again; riding others, or the sweep
again for another reason, does not show it."""
BAR = r"bar goes along|set the bar|confirm it at each position"
"""Where the rider sits, or how the bar is held, does not cure a bar that stayed."""

CLEAN = (
    Line("clean hinge 1.5", slope=1.5),
    Line("clean hinge 1.0", slope=1.0),
    Line("clean hinge 0.5", slope=0.5, times=6),
    Line("clean flat", "flat"),
    Line("clean straight 0.5", "straight", slope=0.5),
    Line("clean straight 1.0", "straight", slope=1.0),
    Line("clean hinge 1.5, sham, blinded", slope=1.5, sham=True, blinded=True),
    Line("clean hinge 1.5, sham, not blinded", slope=1.5, sham=True),
    Line("clean flat, first again", "flat", first_again=True),
)
WITHOUT_ONSET = (
    Line("sliding, straight 1.0", "straight", 1.0, ("sliding",), SIT),
    Line("sliding, straight 0.5", "straight", 0.5, ("sliding",), SIT),
    Line("half sliding, straight 1.0", "straight", 1.0, ("sliding", "sliding-share=0.5"), SIT),
    Line("fatigue late 15, flat", "flat", wrong=("fatigue-late=15",), cure=REST),
    Line("fatigue late 25, flat", "flat", wrong=("fatigue-late=25",), cure=REST),
    Line("fatigue linear 25, flat", "flat", wrong=("fatigue-linear=25",), cure=REST),
    Line("fatigue saturating 25, flat", "flat", wrong=("fatigue-saturating=25",), cure=REST),
    Line("lag 20, straight 1.0", "straight", 1.0, ("lag=20",), SETTLE),
    Line("lag 60, straight 1.0", "straight", 1.0, ("lag=60",), SETTLE),
    Line("lag 120, straight 1.0", "straight", 1.0, ("lag=120",), SETTLE),
    Line("frozen hand cell, straight 1.0", "straight", 1.0, ("frozen",), CELLS),
    Line("frozen nose cell, flat", "flat", wrong=("frozen-nose",), cure=CELLS),
    Line("saturated hand cell, flat", "flat", wrong=("saturated",), cure=CELLS),
    Line("hand cell's gain 0.8, flat", "flat", wrong=("gain=0.8",), cure=CELLS),
    Line("swapped plugs, straight 1.0", "straight", 1.0, ("swapped",), CELLS),
    Line("swapped saddle plugs, straight 1.0", "straight", 1.0, ("swapped-saddle",), f"{CELLS}|{SIT}"),
    Line("torque falls 4, flat", "flat", wrong=("torque-falls=4",), cure=POWER),
    Line("grip 12, flat", "flat", wrong=("grip=12",), cure=HANDS),
    Line("expectation, sham, flat", "flat", wrong=("expectation=12",), cure=BLIND, sham=True),
    Line("expectation, sham, blinded, flat", "flat", wrong=("expectation=12",), sham=True, blinded=True),
)
"""A blinded rider of expectation has nothing to expect: nothing to warn of."""
UNSEEN = (
    Line("sliding, one saddle cell, straight 1.0", "straight", 1.0, ("sliding",), SIT, nose_and_rear=False),
    Line("expectation, no sham, flat", "flat", wrong=("expectation=12",), cure=BLIND),
)
"""Without the cells or the step that would show it: no goal on naming, but the caution has to stand beside it."""
WITH_ONSET = (
    Line("scatter 3", slope=1.5, wrong=("scatter=3",), cure=AGAIN),
    Line("scatter 5", slope=1.5, wrong=("scatter=5",), cure=AGAIN),
    Line("scatter 3, first again", slope=1.5, wrong=("scatter=3",), cure=AGAIN, first_again=True),
    Line("placement 2", slope=1.5, wrong=("placement=2",), cure=AGAIN),
    Line("placement 3", slope=1.5, wrong=("placement=3",), cure=AGAIN),
    Line("lag 20", slope=1.5, wrong=("lag=20",), cure=SETTLE),
    Line("lag 60", slope=1.5, wrong=("lag=60",), cure=SETTLE),
    Line("lag 120", slope=1.5, wrong=("lag=120",), cure=SETTLE),
    Line("grip 12", slope=1.5, wrong=("grip=12",), cure=HANDS),
    Line("grip 12 within a step", slope=1.5, wrong=("grip=12", "grip-after=20"), cure=HANDS),
    Line("fatigue late 15", slope=1.5, wrong=("fatigue-late=15",), cure=REST),
    Line("sliding", slope=1.5, wrong=("sliding",), cure=SIT),
    Line("bar fixed, said to be kept", slope=1.5, wrong=("bar-fixed",), cure=BAR),
    Line("no power sensor", slope=1.5, wrong=("no-power",), cure=POWER),
    Line("frozen hand cell", slope=1.5, wrong=("frozen",), cure=CELLS),
    Line("sway 8 N, 10 s", slope=1.5, sway_n=8.0, sway_s=10.0),
    Line("sway 8 N, 2 s", slope=1.5, sway_n=8.0, sway_s=2.0),
)
OTHER_WITHOUT = (
    Line("other rider, flat", "flat", 0.0, other=True),
    Line("other rider, straight 0.5", "straight", 0.5, other=True),
)
OTHER = (
    Line("other rider, 1.5", slope=1.5, other=True),
    Line("other rider, 1.0", slope=1.0, other=True),
    Line("other rider, 1.5, 60 s", slope=1.5, dwell_s=60.0, other=True),
)
LINES = (*CLEAN, *WITHOUT_ONSET, *UNSEEN, *WITH_ONSET, *OTHER_WITHOUT, *OTHER)
