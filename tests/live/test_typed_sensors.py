"""A typed visit with more than one scale: a second one under the saddle, and a power sensor over Bluetooth."""

import asyncio

import pyarrow.parquet as pq
import pytest

from daq.keep.again.recompute import recompute_stored
from daq.keep.package.export import export
from daq.keep.package.importing import import_sweep
from daq.keep.store import Store
from daq.live.typed_rig import typed_rig_text
from daq.physics import crank_torque_nm
from daq.refusals import BadValue, Doubted
from daq.sweep.run import Trigger
from daq.values import Onset, StepMean, Verdict
from daq.wire.cycling_power import PowerMeasurement, encode_power
from tests.live.typed_visit import ONSET_MM, PLAN, SLOPE, Visit
from tests.sources.conftest import bus as private_bus
from tests.sources.fake_bluez import FakeBluez
from tests.sources.power_meter import CRANK, MEASUREMENT, power_services

pytestmark = pytest.mark.xdist_group(__name__)
bus = private_bus

TWO_SCALES = (
    typed_rig_text("kg", 0.1).replace("effort =", "saddle_step = 0.2\neffort =")
    + '[[channels]]\nname = "saddle"\nrole = "saddle"\n'
)
SENSOR = typed_rig_text("kg", 0.1).replace('effort = "typed"', 'effort = "sensor"') + '[power]\nname = "crank"\n'
TURN_S = 2.0 / 3.0
"""At 90 rpm."""


def last(visit, kind):
    return [one for one in visit.outputs if isinstance(one, kind)][-1]


def steps(visit):
    return [one for one in visit.outputs if isinstance(one, StepMean)]


@pytest.fixture(scope="module")
def two_scales(tmp_path_factory):
    visit = Visit(tmp_path_factory.mktemp("two"), TWO_SCALES)
    return visit.run(visit.sweep)


def test_a_second_scale_carries_the_saddle_load_to_the_verdict(two_scales):
    answer = last(two_scales, Onset)
    low_mm, high_mm = answer.interval_95_mm

    assert answer.verdict is Verdict.ONSET
    assert low_mm <= ONSET_MM <= high_mm
    assert answer.grade == (
        "measured: hands (read off a scale), saddle (read off a scale) and effort; not measured: tilt and hips"
    )
    for step in steps(two_scales):
        rise_n = SLOPE * max(ONSET_MM - step.setback_mm, 0.0)
        assert step.saddle_load_n == pytest.approx(400.0 - rise_n, abs=8.0)


def test_the_saddle_load_goes_into_store_export_and_import(two_scales, tmp_path):
    with Store.open(two_scales.path, write=False) as store:
        (made,) = export(store, [1], tmp_path / "out", recompute_stored, purpose="client", form="parquet")
        again = recompute_stored(store, 1)
    with Store.open(tmp_path / "other.sqlite") as other:
        imported = recompute_stored(other, import_sweep(other, made))
    table = pq.read_table(made / "steps.parquet")

    ridden = [step.saddle_load_n for step in steps(two_scales)]
    assert table["saddle_load_n"].to_pylist() == ridden
    assert repr(again.steps) == repr(imported.steps) == repr(tuple(steps(two_scales)))
    assert repr(again.onset) == repr(imported.onset) == repr(last(two_scales, Onset))


def test_each_scale_has_its_slips_named_and_its_own_known_weight(tmp_path):
    visit = Visit(tmp_path, TWO_SCALES)

    async def job():
        await visit.ready()
        assert not visit.session.calibrating.status().allows_verdict
        await visit.check(on="saddle")
        standing = visit.session.calibrating.status()
        assert standing.sentence.startswith("the scale at the hands: never checked here")
        assert not standing.allows_verdict
        await visit.check(on="hands")
        assert visit.session.calibrating.status().allows_verdict
        failed = await visit.check("22.0", on="saddle")
        assert "a factor 2.2: pounds read as kilograms?" in failed.sentence
        assert not visit.session.calibrating.status().allows_verdict
        await visit.check(on="saddle")
        await visit.session.sweep.begin(PLAN)
        await visit.session.sweep.fitter(Trigger.BEGIN)
        await visit.position()
        await visit.session.sweep.fitter(Trigger.SADDLE_MOVED, visit.session.sweep.progress.asked_setback_mm)
        await visit.due()
        with pytest.raises(Doubted, match=r"saddle: .*pounds typed for kilograms"):
            await visit.session.typed.read("9.2", "90.1")
        with pytest.raises(BadValue, match="expected a reading of the second scale"):
            await visit.session.typed.read("9.2")
        await visit.session.typed.read("9.2", "40.8")
        shown = visit.session.typed.fields()
        assert (shown["shown"], shown["shown_saddle"]) == (["9.2"], ["40.8"])

    visit.run(job)


class Sensor:
    """A power meter that sends 200 W at 90 rpm, a turn's worth at a time; counting turns, or power alone."""

    def __init__(self, bus, session_pace, *, counts=True):
        self._bus, self._pause_s, self._counts = bus, TURN_S / session_pace, counts

    async def run(self):
        bluez = FakeBluez(self._bus.address)
        await bluez.start()
        crank = bluez.add(CRANK, "crank", power_services())
        turn = 0
        try:
            while True:
                await asyncio.sleep(self._pause_s)
                turn += 1
                turns = {"crank_revs": turn, "crank_time_1024": 683 * turn % 65536} if self._counts else {}
                crank.notify(MEASUREMENT, encode_power(PowerMeasurement(200, **turns)))
        finally:
            await bluez.stop()


def test_with_a_power_sensor_the_effort_is_measured_and_an_onset_may_be_named(tmp_path, bus):
    visit = Visit(tmp_path, SENSOR)
    sensor = Sensor(bus, visit.session.acquisition.clock.pace)
    visit.beside = [sensor.run]
    visit.run(visit.sweep)
    answer = last(visit, Onset)

    assert answer.verdict is Verdict.ONSET
    assert answer.grade == "measured: hands (read off a scale) and effort; not measured: saddle, tilt and hips"
    torque_nm = crank_torque_nm(200.0, 90.0)
    assert [step.crank_torque_nm for step in steps(visit)] == pytest.approx([torque_nm] * 11, rel=0.01)
    with Store.open(visit.path, write=False) as store:
        assert repr(recompute_stored(store, 1).onset) == repr(answer)


def test_a_power_sensor_that_counts_no_turns_is_named_at_once(tmp_path, bus):
    """At its third notification, where the power's chip has its words."""
    visit = Visit(tmp_path, SENSOR)
    sensor = Sensor(bus, visit.session.acquisition.clock.pace, counts=False)
    visit.beside = [sensor.run]
    said = {}

    async def job():
        await visit.ready()
        await visit.session.sweep.begin(PLAN)
        sensors = visit.session.acquisition.sensors
        clock = visit.session.acquisition.clock
        while not (trouble := sensors.troubles(clock.now_us())["power"]).startswith("sends"):
            await asyncio.sleep(0.002)
        heard = visit.session.acquisition.pipeline.sensors.effort_at(clock.now_us() / 1e6)
        said.update(trouble=trouble, power_w=heard[0])

    visit.run(job)

    assert "power and no cadence" in said["trouble"]
    assert "[cadence]" in said["trouble"]
    assert said["power_w"] == 200.0
