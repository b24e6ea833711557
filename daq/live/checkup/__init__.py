"""Is this jig ready: one Check for each part of it.

machine   disk, clock, ports: what the computer has to have
lacking   what each sensor that the rig does not have costs
proved    whether the setback scale was checked and a proof of the jig stands
jig       what the daemon itself sees of board, cells and sensors within some seconds
"""

from __future__ import annotations

from daq.live.checkup.check import CAUTION, FAILED, WELL, PartState
from daq.live.checkup.jig import check_jig
from daq.live.checkup.lacking import check_sensors
from daq.live.checkup.machine import check_bluetooth, check_clock, check_disk, check_ports
from daq.live.checkup.proved import check_proof

__all__ = [
    "CAUTION",
    "FAILED",
    "WELL",
    "PartState",
    "check_bluetooth",
    "check_clock",
    "check_disk",
    "check_jig",
    "check_ports",
    "check_proof",
    "check_sensors",
]
