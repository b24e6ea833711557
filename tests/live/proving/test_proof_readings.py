"""When a proof takes no reading, and when it does not begin: on scans that are written here, without a board."""

import asyncio
import itertools
from types import SimpleNamespace

import numpy as np
import pytest

from daq.keep.proofs import keep, load
from daq.live.session.occupied import Occupied
from daq.live.session.proof_desk import ProofDesk, Work
from daq.proof.sheet import DummyParts, Mass, ProofReading
from daq.proof.tasks import due, tasks
from daq.refusals import BadValue, NotNow
from daq.rig_file import parse_rig
from tests.proof.simulated_sheet import DUMMY, begun
from tests.rigs import rig_text

RIG = parse_rig(rig_text())
NEW = {"made_by": "R. Doe", "place": "", "placements": 3, "read_s": 3.0}


def block(hands_n, *, rate_hz=80.0, to_s=30.0):
    t_s = np.arange(0.0, to_s, 1.0 / rate_hz)
    still = np.zeros(len(t_s))
    return SimpleNamespace(t_s=t_s, hands_n=still + hands_n(t_s), saddle_n=still, tilt_deg=still)


async def never(*_):
    raise AssertionError("no zero is due")


def desk_on(*blocks, rig=RIG, begins_s=10.0):
    """A desk whose clock goes on by a second each time it is looked at."""
    seconds = itertools.count(begins_s)
    at = SimpleNamespace(
        rig=rig,
        simulated=False,
        clock=SimpleNamespace(now_us=lambda: 1e6 * next(seconds)),
        recent=SimpleNamespace(last=lambda: list(blocks)),
        channels=lambda: ("hands",),
    )
    nobody = {name: lambda: False for name in ("sweep", "bench", "proof")}
    return ProofDesk(at, Occupied(**nobody), take_zero=never, restore_zero=never)


def read(desk, folder):
    """Take the reading of the first weight; the sheet in its file afterwards, and what was raised."""
    sheet = begun()
    for task in tasks(sheet.plan)[: next(i for i, one in enumerate(tasks(sheet.plan)) if one.id == "bar/0")]:
        sheet = sheet.with_reading(ProofReading(task=task.id, at_utc=sheet.begun_utc, t_min=0.0))
    keep(sheet, folder / "p.json")
    desk.work = Work(sheet, folder / "p.json", due(sheet), None, 0.0, {})
    try:
        asyncio.run(desk.done({}))
        raised = None
    except (BadValue, NotNow) as error:
        raised = error
    assert not desk.work.reading
    return load(folder / "p.json").readings[len(sheet.readings) :], raised


def test_a_reading_is_the_mean_of_the_seconds_after_it_has_settled(tmp_path):
    (reading,), raised = read(desk_on(block(lambda t_s: np.where(t_s < 12.0, 50.0, 20.0))), tmp_path)

    assert raised is None
    assert (reading.task, reading.hands_n) == ("bar/0", 20.0)


def test_a_second_reading_waits_for_the_first(tmp_path):
    """Two pages, or a key pressed twice."""
    sheet = begun()
    keep(sheet, tmp_path / "p.json")
    desk = desk_on()
    desk.work = Work(sheet, tmp_path / "p.json", due(sheet), None, 0.0, {}, reading=True)

    with pytest.raises(NotNow, match="a reading is being taken"):
        asyncio.run(desk.done({}))
    with pytest.raises(NotNow, match="a reading is being taken"):
        desk.leave()


def test_hands_that_still_move_give_no_reading(tmp_path):
    kept, raised = read(desk_on(block(lambda t_s: 20.0 + 0.5 * (t_s - 12.0))), tmp_path)

    # 0.5 N/s over 3 s, by quarters: 0.75 s apart from the first to the last are 3 x 0.75 x 0.5 N = 1.1 N
    assert kept == ()
    assert isinstance(raised, BadValue)
    assert "hand load still moves by 1.1 N: hands off" in str(raised)


def test_scans_too_few_for_a_mean_give_no_reading(tmp_path):
    kept, raised = read(desk_on(block(np.zeros_like, rate_hz=2.0)), tmp_path)

    assert kept == ()
    assert str(raised).startswith("7 scans arrived in 3 s; see the board's cable")


@pytest.mark.parametrize("blocks", [(), (block(np.zeros_like, to_s=11.0),)])
def test_a_board_that_falls_silent_is_told_and_gives_no_reading(tmp_path, blocks):
    kept, raised = read(desk_on(*blocks), tmp_path)

    assert kept == ()
    assert str(raised) == "the board has sent nothing usable; see its cable and power"


def test_a_jig_without_what_a_proof_needs_is_told_what_it_lacks(tmp_path):
    bare = parse_rig(rig_text(channels=("hands", "saddle")))

    with pytest.raises(NotNow, match="this rig has no tilt"):
        asyncio.run(desk_on(rig=bare).begin(DUMMY, **NEW, path=tmp_path / "p.json"))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("parts", "said"),
    [
        ({"mass": Mass(mass_kg=5.0, ahead_m=0.6, above_m=0.0)}, "would lift the saddle"),
        ({"u_rate_n_per_mm": 0.5}, "u_rate_n_per_mm: expected at most a fifth of the rate"),
    ],
)
def test_a_dummy_that_does_not_fit_the_jig_begins_no_proof_and_is_read_where_it_was_kept(tmp_path, parts, said):
    unfit = DUMMY.model_copy(update=parts)

    with pytest.raises(ValueError, match=said):
        asyncio.run(desk_on().begin(unfit, **NEW, path=tmp_path / "p.json"))
    assert DummyParts.model_validate_json(unfit.model_dump_json()) == unfit
    assert list(tmp_path.iterdir()) == []


def test_a_proof_has_the_jig_from_its_zero_until_it_is_put_away():
    desk, sheet = desk_on(), begun()

    def has_it(task):
        desk.work = Work(sheet, None, task, None, 0.0, {})
        return desk.has_jig()

    empty, scale, *_ = tasks(sheet.plan)
    assert (has_it(empty), has_it(scale), has_it(None)) == (False, True, True)
    desk.leave()
    assert not desk.has_jig()
