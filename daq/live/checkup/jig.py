"""Checks of the jig as the daemon sees it: a session without a store watches every sensor for some seconds. The jig has
to be empty and still: noise and zero are judged.
"""

from __future__ import annotations

import asyncio
from typing import Any

import numpy as np

from daq.items import BOARD
from daq.live.checkup.check import CAUTION, FAILED, WELL, PartState
from daq.live.links import links_of
from daq.live.session.acquisition import Acquisition, Rider
from daq.live.session.session import Session
from daq.measure.calibration import Calibration
from daq.pipeline import Output
from daq.rig import Rig
from daq.sources.board_talk import RATE_OFF
from daq.sources.clock import SessionClock
from daq.sources.sniff import noise_rms
from daq.values import Array, Loads

WAIT_S = 10.0
"""Time for a sensor to be found and connected, on top of the seconds watched."""
LOOK_EVERY_S = 0.05
NOISY_N = 2.0
"""Of one scan; a stroke averages tens of them. A cell this noisy is badly connected. Common practice, no source."""
ZERO_OFF_N = 5.0
DRIFT_N_PER_MIN = 5.0
LATE_SHARE = 0.01
STALL_S = 0.2


async def check_jig(rig: Rig, calibration: Calibration, seconds: float) -> list[PartState]:
    """Board, cells and sensors, watched for so many seconds."""
    outputs: list[Output] = []
    session = Session(rig, calibration, SessionClock(), Rider("R-0000", None), on_output=outputs.append)
    at = session.acquisition
    tasks = [asyncio.create_task(link()) for link in links_of(session)]
    tasks.append(asyncio.create_task(session.run()))
    try:
        await _until_all_are_there(at)
        outputs.clear()
        stall_s = await _watch(seconds)
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
    at.drain()
    loads = [output for output in outputs if isinstance(output, Loads)]
    sensors = [_of_sensor(at, name) for name in _named(at) if name != BOARD]
    return [_of_board(at, loads), *_of_cells(rig, at, loads), *sensors, _of_computer(stall_s)]


def _named(at: Acquisition) -> list[str]:
    """The sources this rig has, by the name of their link; a transmitter takes the board's place."""
    return [name for name in at.sensors.health if name == BOARD or getattr(at.rig, name, None) is not None]


async def _until_all_are_there(at: Acquisition) -> None:
    """Wait for data from every sensor, up to a limit."""
    for _ in range(round(WAIT_S / LOOK_EVERY_S)):
        now_us = at.clock.now_us()
        if all(at.sensors.health[name].state(now_us) == "live" for name in _named(at)):
            return
        await asyncio.sleep(LOOK_EVERY_S)


async def _watch(seconds: float) -> float:
    """Let it run; returns the longest time for which this computer did not run the loop."""
    loop = asyncio.get_running_loop()
    end_s, longest_s = loop.time() + seconds, 0.0
    while (now_s := loop.time()) < end_s:
        await asyncio.sleep(LOOK_EVERY_S)
        longest_s = max(longest_s, loop.time() - now_s - LOOK_EVERY_S)
    return longest_s


def _of_board(at: Acquisition, loads: list[Loads]) -> PartState:
    """The board's link, rate and losses, or the transmitter's."""
    report, part = _report(at, BOARD), at.rig.loads_from
    if report["state"] != "live" or not loads:
        return PartState(part, FAILED, str(report["message"]) or "sends nothing that can be used", report)
    rate_hz = report["rate_hz"] = _rate_hz(loads)
    words = (
        f"{rate_hz:.1f} a second, {report['dropped']} dropped, {report['damaged']} damaged, {report['late']} late"
        f"{_clock_words(report)}"
    )
    doubts = [str(report["message"])] if report["message"] else []
    if report["dropped"] or report["damaged"]:
        doubts.append("something is lost on the way: look at its cable and at the baud")
    if report["late"] > LATE_SHARE * sum(map(len, loads)):
        doubts.append("many scans come late: another program keeps this computer busy")
    expected_hz = 0.0 if at.sensors.greeting is None else at.sensors.greeting.scan_rate_hz
    if expected_hz and abs(rate_hz - expected_hz) > RATE_OFF * expected_hz:
        doubts.append(f"expected {expected_hz:g} a second: the line is too slow for it, or it stalls")
    return PartState(part, CAUTION if doubts else WELL, "; ".join([words, *doubts]), report)


def _of_sensor(at: Acquisition, name: str) -> PartState:
    """One Bluetooth sensor's link."""
    report = _report(at, name)
    if report["state"] != "live":
        return PartState(name, FAILED, str(report["message"]), report)
    words = f"{report['rate_hz']:.1f} a second{_clock_words(report)}"
    doubts = [str(report["message"])] if report["message"] else []
    return PartState(name, CAUTION if doubts else WELL, "; ".join([words, *doubts]), report)


def _report(at: Acquisition, name: str) -> dict[str, Any]:
    return dict(at.sensors.health[name].report(at.clock.now_us()))


def _clock_words(report: dict[str, Any]) -> str:
    error_ms = report["clock_error_ms"]
    return "" if error_ms is None else f", clock known to {error_ms:.1f} ms"


def _rate_hz(loads: list[Loads]) -> float:
    span_s = float(loads[-1].t_s[-1] - loads[0].t_s[0])
    return (sum(map(len, loads)) - 1) / span_s if span_s > 0.0 else 0.0


def _of_cells(rig: Rig, at: Acquisition, loads: list[Loads]) -> list[PartState]:
    """Noise and zero of each cell on the empty jig; nothing when no scan came."""
    if not loads:
        return []
    cells_n = np.concatenate([part.cells_n for part in loads])
    t_s = np.concatenate([part.t_s for part in loads])
    return [
        _of_cell(cell, cells_n[:, i], t_s, at.pipeline.cells.troubles.get(cell, "")) for i, cell in enumerate(rig.cells)
    ]


def _of_cell(name: str, load_n: Array, t_s: Array, trouble: str) -> PartState:
    if np.isnan(load_n).all():
        words = "not calibrated, its newtons are unknown: `foreaft calibrate bench`, then name its file in the rig file"
        return PartState(name, FAILED, f"{trouble}; {words}" if trouble else words)
    noise_n, zero_n = noise_rms(load_n), float(load_n.mean())
    span_s = float(t_s[-1] - t_s[0])
    drift = float(np.polynomial.polynomial.polyfit(t_s - t_s[0], load_n, 1)[1]) * 60.0 if span_s > 0.0 else 0.0
    figures = {"noise_n_rms": noise_n, "zero_n": zero_n, "drift_n_per_min": drift}
    words = f"noise {noise_n:.2f} N rms, zero off by {zero_n:+z.1f} N, drift {drift:+z.1f} N/min"
    if trouble:
        return PartState(name, FAILED, f"{trouble} ({words})", figures)
    doubts = []
    if noise_n > NOISY_N:
        doubts.append("noisy: look at plug, shield and ground of this cell")
    if abs(zero_n) > ZERO_OFF_N:
        doubts.append("empty the jig and take the zero")
    elif abs(drift) > DRIFT_N_PER_MIN:
        doubts.append("drifts: let it warm up, and look for something that leans on it")
    return PartState(name, CAUTION if doubts else WELL, "; ".join([words, *doubts]), figures)


def _of_computer(stall_s: float) -> PartState:
    figures = {"longest_stall_s": stall_s}
    words = f"longest pause {stall_s * 1e3:.0f} ms"
    if stall_s > STALL_S:
        return PartState("computer", CAUTION, f"{words}: something else keeps it busy; end other programs", figures)
    return PartState("computer", WELL, words, figures)
