"""What is told to be done is on the disk; what warns is told at once."""

import pytest

from daq.keep.errors import NotStored
from daq.live.session import zero_desk
from daq.measure.calibration.doubts import Doubt, Doubtful
from daq.measure.calibration.status import SensitivityCheck
from tests.live.jig import demo, run, serving
from tests.sources.waiting import until


def check(shown_n):
    return SensitivityCheck(
        "hands", "2026-01-01T00:00:00Z", load_n=100.0, u_load_n=0.1, shown_n=shown_n, expanded_n=1.0
    )


async def compensated():
    return "offset 12"


DONE = {
    "zero taken; newtons": lambda session: session.zero.take(),
    "power sensor: offset 12": lambda session: session.zero.compensate_power(),
    "marked: coughed": lambda session: session.sweep.mark("coughed"),
    "is as calibrated": lambda session: session.calibrating.keep(check(100.5)),
}
WARNS = {
    "alarm: pain or numbness: the rider stops": lambda session: session.sweep.mark("pain or numbness"),
    "alarm: hands: 100.00 N shows as 50.00 N": lambda session: session.calibrating.keep(check(50.0)),
    "caution: since the last zero, hands has drifted": lambda session: session.zero.take(),
}


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """What was told of each while the disk took nothing, and of those that are done once it did."""
    found = {}

    async def inside():
        session = running.session
        at = session.acquisition
        at.sensors.compensate = compensated
        await until(lambda: len(at.pipeline.recent_counts()) > 150)
        monkeypatched.setattr(zero_desk, "doubts_of_zero", drifted)
        await session.zero.take()
        with monkeypatched.context() as patched:
            patched.setattr(at.storing, "stored", full)
            for name, does in {**DONE, **WARNS}.items():
                at.notices.clear()
                with pytest.raises(NotStored):
                    await does(session)
                found[name] = lines(at)
        for name, does in {**DONE, **WARNS}.items():
            at.notices.clear()
            await does(session)
            found[name, "stored"] = lines(at)

    async def full():
        raise NotStored("kept in memory")

    def drifted(*_, **__):
        return (Doubtful(Doubt.ZERO_MOVED, "hands", "hands has drifted"),)

    def lines(at):
        return [f"{note.level}: {note.text}" for note in at.notices]

    with demo(tmp_path_factory.mktemp("told")) as running, pytest.MonkeyPatch.context() as monkeypatched:
        run(serving(running, inside))
    return found


@pytest.mark.parametrize("name", DONE)
def test_what_is_only_in_memory_is_not_told_to_be_done(told, name):
    assert not any(name in line for line in told[name])
    assert any(name in line for line in told[name, "stored"])


@pytest.mark.parametrize("name", WARNS)
def test_a_warning_does_not_wait_for_the_disk(told, name):
    assert any(line.startswith(name) for line in told[name])
    _, sentence = name.split(": ", maxsplit=1)
    assert sum(sentence in line for line in told[name, "stored"]) == 1, "and once"
