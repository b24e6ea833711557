"""A sweep ridden on bought transmitters: recorded as their own bytes, replayed and recomputed to the same bits."""

import asyncio
import dataclasses

import numpy as np
import pytest
import uvloop
from pymodbus.server import ModbusSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice

from daq.items import WireBytes
from daq.keep.again.recompute import recompute_stored
from daq.keep.again.replay import replayed
from daq.keep.recording import RecordingWriter, read_recording
from daq.keep.store import Store
from daq.live.daemon import serve
from daq.live.demo import follow_plan
from daq.live.links import links_of
from daq.live.real import begin
from daq.live.session.acquisition import Rider
from daq.live.session.session import Session
from daq.measure.calibration import to_dict
from daq.physics import STANDARD_G_M_S2
from daq.rider.jig import SimulatedJig
from daq.rider.model import rider_of_kind
from daq.rig_file import parse_rig
from daq.sources.clock import SessionClock
from daq.sources.simulator import power_bytes
from daq.sweep.plan import Plan
from daq.sweep.run import ENDED
from daq.transmitters import calibration_of
from daq.values import Onset, Samples, StepMean
from daq.wire import cycling_power
from tests.live.transmitters import LINES, MODBUS
from tests.rigs import rig_text
from tests.sources.cable import Cable
from tests.sources.fake_board import FakeBoard

PACE = 5.0
BEAT_S = 0.005
QUICK = Plan(positions_mm=(80.0, 60.0, 40.0, 50.0, 70.0), settle_s=3.0, dwell_s=5.0, torque_band_nm=5.0)
"""As few positions as an answer needs, each as short as a plan may make it."""


class Ride:
    """A simulated rider whose loads go, in steps of 0.01 kg, to whatever sends them."""

    def __init__(self, folder, table):
        self.folder, text = folder, rig_text(table, ("hands", "saddle"))
        model = rider_of_kind("hinge")
        self._jig = SimulatedJig(model, rng=np.random.default_rng(3))
        rig = parse_rig(text)
        calibration = dataclasses.replace(calibration_of(rig.transmitter), simulated=True)
        clock = SessionClock(pace=PACE)
        storing = begin(
            Store.open(folder / "store.sqlite"), rig_text=text, calibration=calibration, simulated=True, clock=clock
        )
        header = {"rig": text, "calibration": to_dict(calibration), "simulated": True}
        self.recorder = RecordingWriter(folder / "ride.rec", header)
        self.outputs = []
        self.session = Session(
            rig,
            calibration,
            clock,
            Rider("SIM-0001", model.body.mass_kg),
            storing=storing,
            simulated=True,
            recorder=self.recorder,
            on_output=self.outputs.append,
        )

    async def pedal(self, show):
        """Ride by the session's clock; show(hands, saddle), in hundredths of a kilogram, some 40 times a second."""
        session, jig = self.session, self._jig
        ridden_s = session.acquisition.clock.now_us() / 1e6
        while True:
            await asyncio.sleep(BEAT_S)
            progress = session.sweep.progress
            jig.set_aboard(progress is not None and progress.state not in ENDED)
            if progress is not None and progress.setback_mm is not None:
                jig.set_setback(progress.setback_mm)
            now_s = session.acquisition.clock.now_us() / 1e6
            block = jig.advance(now_s - ridden_s)
            ridden_s = now_s
            for notice in block.power:
                session.acquisition.sensors.arrive_notification(
                    session.acquisition.clock.stamp_us(), cycling_power.MEASUREMENT_UUID, power_bytes(notice)
                )
            if len(block):
                loads = block.cells_n[-1] / STANDARD_G_M_S2 * 100
                show(round(loads[:2].sum()), round(loads[2:].sum()))

    async def ride(self, *parts):
        """The sweep from begin to end, beside whatever these run; what came of its steps and answers, live."""
        links = [*(lambda part=part: part for part in parts), *links_of(self.session)]
        with self.recorder:
            await asyncio.wait_for(serve(self.session, links, until=follow_plan(self.session, QUICK)), 120)
        return answers(self.outputs)


def answers(outputs):
    return [repr(output) for output in outputs if isinstance(output, StepMean | Onset)]


async def by_lines(folder):
    device = FakeBoard()
    made = Ride(folder, LINES.format(port=device.port))

    def show(hands, saddle):
        device.write(b"%.2f;%.2f\r\n" % (saddle / 100, hands / 100))

    live = await made.ride(made.pedal(show))
    device.unplug()
    return live


async def by_modbus(folder):
    cable, shown = Cable(), {}

    def unit(number, name):
        async def answer(_function, start, address, _count, registers, _values):
            load = shown.get(name, 0)
            registers[address - start : address - start + 2] = [load >> 16 & 0xFFFF, load & 0xFFFF]

        return SimDevice(id=number, simdata=[SimData(100, values=[0, 0], datatype=DataType.REGISTERS)], action=answer)

    async def serving():
        units = [unit(1, "hands"), unit(2, "saddle")]
        await ModbusSerialServer(units, port=cable.there, baudrate=115200).serve_forever()

    made = Ride(folder, MODBUS.format(port=cable.here) + "poll_hz = 100\n")

    def show(hands, saddle):
        shown.update(hands=hands, saddle=saddle)

    return await made.ride(cable.run(), serving(), made.pedal(show))


@pytest.fixture(scope="module")
def ridden(tmp_path_factory):
    """Both ways at once, as each waits for its rider: {way: (folder, what came of it live)}."""
    folders = {way: tmp_path_factory.mktemp(way.__name__) for way in (by_lines, by_modbus)}

    async def both():
        return await asyncio.gather(*(way(folder) for way, folder in folders.items()))

    return dict(zip(folders, zip(folders.values(), uvloop.run(both()), strict=True), strict=True))


@pytest.mark.parametrize("way", [by_lines, by_modbus])
def test_a_sweep_on_transmitters_is_replayed_and_recomputed_to_the_same_bits(ridden, way):
    folder, live = ridden[way]

    recording = read_recording(folder / "ride.rec")
    with Store.open(folder / "store.sqlite", write=False) as store:
        again = recompute_stored(store, 1)
        scans = sum(len(item) for item in store.read_items(1) if isinstance(item, Samples))
    assert sum("StepMean" in answer for answer in live) == len(QUICK.positions_mm)
    assert sum("Onset" in answer for answer in live) >= 1
    assert recording.complete
    assert answers(replayed(recording)) == live
    assert repr(again.onset) == live[-1]
    assert [repr(step) for step in again.steps] == [answer for answer in live if "StepMean(" in answer[:9]]
    raw = b"".join(item.payload for item in recording.items() if isinstance(item, WireBytes))
    # A line of two loads has 11 bytes, a reply with two registers 9 (Modbus over Serial Line V1.02, 2.5.1.2).
    assert len(raw) >= 9 * scans > 0
