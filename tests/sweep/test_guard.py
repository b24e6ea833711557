"""What forbids a verdict takes away the onset, and the sentence that names its place."""

from daq.sweep.guard import guarded
from daq.values import Onset, Verdict

WHY = "the calibration is older than 12 months"
FOUND = Onset(
    verdict=Verdict.ONSET,
    gradual=False,
    onset_mm=52.4,
    interval_95_mm=(48.1, 56.9),
    p_onset=0.98,
    p_light=0.01,
    p_loaded=0.01,
    least_squares_mm=52.1,
    rss=12.3,
    suggested_setback_mm=56.4,
    light_load_n=78.1,
    slope_n_per_mm=0.82,
    reasons=("hand load is level behind 52 mm and rises by 0.82 N per mm forward of it",),
    method="hinge-posterior/3",
)


def test_no_setback_can_be_read_off_a_sweep_whose_verdict_is_forbidden():
    answer = guarded(FOUND, (WHY,))

    assert answer.verdict is Verdict.UNDECIDED
    assert answer.onset_mm is answer.interval_95_mm is answer.suggested_setback_mm is None
    assert answer.reasons == (WHY,)
    assert guarded(FOUND, ()) is FOUND
